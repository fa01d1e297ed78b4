"""Where webhooks may go: the public internet, and what a keeper lists."""

import ipaddress
import socket

import pytest

from registry.alerts.delivery import webhooks
from registry.alerts.delivery.outcomes import NotDelivered
from registry.alerts.delivery.reaching import addresses, is_public, target_of
from registry.errors import Invalid

INSIDE = [
    "127.0.0.1", "10.1.2.3", "172.16.0.9", "192.168.1.1", "169.254.169.254", "100.64.0.1", "0.0.0.0",
    "224.0.0.1", "240.0.0.1", "255.255.255.255", "198.18.0.1", "192.0.2.1",
    "::1", "::", "fe80::1", "fd00::1", "ff02::1", "2001:db8::1",
    "::ffff:127.0.0.1", "::ffff:169.254.169.254", "64:ff9b::a00:1", "2002:7f00:1::", "::10.0.0.1",
]  # fmt: skip


@pytest.mark.parametrize("number", INSIDE)
def test_addresses_inside_are_not_public_however_they_are_wrapped(number):
    assert not is_public(ipaddress.ip_address(number))


@pytest.mark.parametrize("number", ["8.8.8.8", "2606:4700::1111", "::ffff:8.8.8.8", "64:ff9b::808:808"])
def test_other_addresses_are_public(number):
    assert is_public(ipaddress.ip_address(number))


@pytest.mark.parametrize(
    "url",
    [
        "http://receiver.example/", "ftp://receiver.example/", "https://", "https:///x", "receiver.example",
        "https://user:pw@receiver.example/", "https://receiver.example/#part", "https://receiver.example:22/",
        "https://127.0.0.1/", "https://[::1]/", "https://2130706433/", "https://localhost/", "https://printer/",
        "https://x.localhost/", "https://x.internal/", "https://169.254.169.254/latest/meta-data/",
        "https://receiver.example:99999/", "https://receiver.example/a b", "https://receiver.example\\@evil.example/",
        "https://receiver.example/\r\nX-Header: 1", "https://[::1", "javascript:alert(1)",
    ],
)  # fmt: skip
def test_what_can_be_no_receiver_is_refused_at_once(url):
    with pytest.raises(Invalid) as refused:
        target_of(url)
    assert refused.value.faults[0].field == "to"


def test_a_receiver_has_host_port_and_path():
    target = target_of("https://receiver.example:8443/a/b?c=d")
    assert (target.host, target.port, target.path) == ("receiver.example", 8443, "/a/b?c=d")
    assert target_of("https://receiver.example").path == "/"


def leads_to(monkeypatch, *numbers):
    found = [(socket.AF_INET, socket.SOCK_STREAM, 6, "", (number, 443)) for number in numbers]
    monkeypatch.setattr(socket, "getaddrinfo", lambda *_, **__: found)


def test_a_name_is_refused_when_any_of_its_addresses_lies_inside(monkeypatch):
    target = target_of("https://receiver.example/")
    leads_to(monkeypatch, "8.8.8.8")
    assert addresses(target) == ["8.8.8.8"]
    leads_to(monkeypatch, "8.8.8.8", "10.0.0.1")
    with pytest.raises(NotDelivered, match="may not go to"):
        addresses(target)


def test_the_connection_goes_to_the_address_that_was_checked(monkeypatch):
    leads_to(monkeypatch, "8.8.8.8")
    asked = []

    def connect(address, timeout):
        asked.append(address)
        raise ConnectionRefusedError

    monkeypatch.setattr(socket, "create_connection", connect)
    with pytest.raises(NotDelivered, match="nothing listens"):
        webhooks._socket(target_of("https://receiver.example/"))
    assert asked == [("8.8.8.8", 443)]


def test_a_listed_host_may_lie_inside_but_without_tls_only_on_this_machine(monkeypatch, settings):
    settings.VACUARY_WEBHOOK_HOSTS = ["hooks.clinic.example"]
    plain, safe = target_of("http://hooks.clinic.example/"), target_of("https://hooks.clinic.example/")
    leads_to(monkeypatch, "10.0.0.1")
    assert addresses(safe) == ["10.0.0.1"]
    with pytest.raises(NotDelivered):
        addresses(plain)
    leads_to(monkeypatch, "127.0.0.1")
    assert addresses(plain) == ["127.0.0.1"]


def test_a_receiver_that_never_ends_is_cut_off(monkeypatch, settings):
    settings.VACUARY_WEBHOOK_HOSTS = ["127.0.0.1"]
    monkeypatch.setattr(webhooks, "WHOLE_S", 0.3)
    with socket.create_server(("127.0.0.1", 0)) as server:
        target = target_of(f"http://127.0.0.1:{server.getsockname()[1]}/")
        with webhooks._connected(target) as connection:
            connection.request("POST", "/", b"{}")
            with pytest.raises(webhooks._TROUBLE):
                connection.getresponse()

"""Webhooks over TLS, with real certificates: whom nobody vouches for gets nothing."""

import json
from collections.abc import Iterator

import pytest

from registry.alerts.delivery import webhooks
from registry.alerts.delivery.keys import webhook_secret
from registry.alerts.delivery.signatures import is_genuine
from registry.alerts.delivery.subscribing import subscribe
from registry.models import Delivery
from tests.alerts.delivery.authority import Authority
from tests.alerts.delivery.conftest import work
from tests.alerts.delivery.raising import raised

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def authority(tmp_path_factory) -> Authority:
    return Authority(tmp_path_factory.mktemp("authority"))


@pytest.fixture(autouse=True)
def _trust_looked_up_anew() -> Iterator[None]:
    """A process reads once whom it trusts; each test is a process of its own in that."""
    webhooks._trust.cache_clear()
    yield
    webhooks._trust.cache_clear()


@pytest.fixture
def trusting(monkeypatch, authority) -> None:
    """This server's keeper trusts the authority."""
    monkeypatch.setenv("SSL_CERT_FILE", str(authority.certificate))


def told_of_one(person, receiver) -> Delivery:
    subscribe(person, "webhook", receiver.url, {})
    raised()
    work()
    return Delivery.objects.get()


def test_a_message_reaches_a_receiver_that_a_trusted_authority_vouches_for(
    clock, person, receiver, authority, trusting
):
    receiver.tls = authority.server("IP:127.0.0.1")
    with receiver.up():
        delivery = told_of_one(person, receiver)
    (got,) = receiver.got
    assert (delivery.state, delivery.attempts) == ("delivered", 1)
    assert got.path == "/alerts?from=vacuary"
    assert got.headers["host"] == f"127.0.0.1:{receiver.port}"
    assert json.loads(got.body)["type"] == "alert.raised"
    secret = webhook_secret(delivery.subscription)
    assert is_genuine(secret, got.headers, got.body, clock.now.timestamp())


def test_an_untrusted_certificate_is_refused_and_tried_again(
    person, receiver, authority, minutes, monkeypatch
):
    receiver.tls = authority.server("IP:127.0.0.1")
    with receiver.up():
        delivery = told_of_one(person, receiver)
        assert receiver.got == []
        assert (delivery.state, delivery.attempts) == ("waiting", 1)
        assert "certificate is not trusted" in delivery.last_error
        minutes(2)
        assert Delivery.objects.get().attempts == 2
        assert receiver.got == []
        monkeypatch.setenv("SSL_CERT_FILE", str(authority.certificate))
        webhooks._trust.cache_clear()
        minutes(5)
    assert receiver.ids == [delivery.name.hex]
    assert Delivery.objects.get().state == "delivered"


@pytest.mark.parametrize("name", ["IP:127.0.0.2", "DNS:localhost", "DNS:receiver.example"])
def test_a_certificate_of_another_name_is_refused(person, receiver, authority, trusting, name):
    receiver.tls = authority.server(name)
    with receiver.up():
        delivery = told_of_one(person, receiver)
    assert receiver.got == []
    assert "certificate is not trusted" in delivery.last_error


def test_a_receiver_without_tls_behind_an_https_address_gets_nothing(person, receiver):
    subscribe(person, "webhook", receiver.url.replace("http:", "https:"), {})
    with receiver.up():
        raised()
        work()
    assert receiver.got == []
    assert "TLS failed" in Delivery.objects.get().last_error

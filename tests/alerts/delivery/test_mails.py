"""Alerts by e-mail, over a real SMTP server on the loopback."""

import email
import email.policy
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from email.message import EmailMessage

import pytest
from aiosmtpd.controller import Controller
from django.test import Client

from registry.alerts.delivery import mails, sending
from registry.alerts.delivery.spreading import spread_one
from registry.alerts.delivery.subscribing import MOST_UNCONFIRMED, end, subscribe, subscriptions_of
from registry.alerts.delivery.tidying import tidy
from registry.errors import Conflict, Invalid
from registry.models import Announcement, Delivery, Subscription
from tests.alerts.delivery.conftest import work
from tests.alerts.delivery.raising import raised
from tests.listening import free_port

pytestmark = pytest.mark.django_db
ADDRESS = "bench@clinic.example"


@dataclass
class Postbox:
    """What an SMTP server took; `refusal` is what it answers instead, once."""

    mails: list[EmailMessage] = field(default_factory=list)
    refusal: str = ""

    async def handle_DATA(self, server, session, envelope) -> str:  # noqa: N802 - the library's name
        if self.refusal:
            said, self.refusal = self.refusal, ""
            return said
        self.mails.append(email.message_from_bytes(envelope.content, policy=email.policy.default))
        return "250 taken"


def text(postbox: Postbox) -> str:
    """The latest mail's text. No property of the box: the server's library looks at all that it has."""
    return postbox.mails[-1].get_content()


@pytest.fixture
def postbox(settings) -> Iterator[Postbox]:
    box = Postbox()
    controller = Controller(box, hostname="127.0.0.1", port=free_port(), ready_timeout=10)
    controller.start()
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", controller.port
    settings.VACUARY_MAIL, settings.VACUARY_MAIL_FROM = True, "Vacuary <alerts@registry.example>"
    settings.VACUARY_ADDRESS = "https://registry.example"
    yield box
    controller.stop()


@pytest.fixture
def subscribed(clock, person, postbox) -> Subscription:
    """Somebody who has confirmed the address."""
    made = subscribe(person, "email", ADDRESS, {})
    work()
    Client().post(link(postbox, "confirm"))
    postbox.mails.clear()
    return made


def link(postbox: Postbox, what: str) -> str:
    return re.search(rf"https://registry\.example(/mail/{what}/\S+)", text(postbox))[1]


def test_nothing_is_sent_before_the_address_is_confirmed(clock, person, postbox, minutes):
    subscribe(person, "email", ADDRESS, {})
    work()
    (asked,) = postbox.mails
    assert asked["To"] == ADDRESS
    assert "Confirm" in asked["Subject"]
    raised()
    minutes(10)
    assert len(postbox.mails) == 1
    assert Client().get(link(postbox, "confirm")).status_code == 200
    assert Subscription.objects.get().confirmed_at is None, "a link that is only looked at confirms nothing"
    assert Client().post(link(postbox, "confirm")).status_code == 200
    raised("elmsworth/G2")
    work()
    assert len(postbox.mails) == 2
    assert "elmsworth/G2" in text(postbox)


def test_a_mail_tells_the_alert_and_how_to_leave(subscribed, postbox):
    alert = raised()
    work()
    (mail,) = postbox.mails
    assert mail["Subject"] == "Vacuary, raised: Gauge elmsworth/G1 reads 6 % high."
    assert mail["Auto-Submitted"] == "auto-generated"
    assert mail["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    assert mail["Message-ID"] == f"<{Delivery.objects.get(event='raised').name.hex}@registry.example>"
    for part in ("reads 6 % high", "Caution:", f"https://registry.example/alerts/{alert.pk}/"):
        assert part in text(postbox)


def test_leaving_deletes_the_address(subscribed, postbox):
    raised()
    work()
    leave = re.fullmatch(
        r"<https://registry\.example(/mail/leave/\S+)>", postbox.mails[0]["List-Unsubscribe"].strip()
    )[1]
    assert link(postbox, "leave") == leave
    assert Client().get(leave).status_code == 200
    assert Subscription.objects.exists()
    once = Client(enforce_csrf_checks=True).post(leave, {"List-Unsubscribe": "One-Click"})
    assert once.status_code == 200
    assert not Subscription.objects.exists()
    assert not Delivery.objects.exists()
    assert Client().post(leave).status_code == 200, "a second press is no fault"


def test_asking_and_ending_in_turn_sends_a_stranger_few_mails_and_keeps_no_address(clock, person, postbox):
    for _ in range(MOST_UNCONFIRMED):
        made = subscribe(person, "email", ADDRESS, {})
        work()
        end(person, made.pk)
        end(person, made.pk)
    with pytest.raises(Conflict):
        subscribe(person, "email", ADDRESS, {})
    assert len(postbox.mails) == MOST_UNCONFIRMED
    assert not subscriptions_of(person).exists()
    assert not Subscription.objects.filter(to=ADDRESS).exists()
    assert Client().post(link(postbox, "confirm")).status_code == 404
    clock.advance(days=5)
    tidy()
    assert subscribe(person, "email", ADDRESS, {}).pk


def test_many_at_once_come_in_one_mail(subscribed, postbox):
    for number in range(7):
        spread_one(Announcement.objects.get(alert=raised(f"elmsworth/G{number}")).pk)
    sending.send_due(subscribed.pk)
    assert len(postbox.mails) == 1
    assert "7 messages" in postbox.mails[0]["Subject"]
    assert all(f"elmsworth/G{number}" in text(postbox) for number in range(7))


def test_one_that_cannot_be_written_keeps_the_others_of_its_mail_back_once(
    subscribed, postbox, minutes, monkeypatch
):
    for number in range(3):
        spread_one(Announcement.objects.get(alert=raised(f"elmsworth/G{number}")).pk)
    odd = Delivery.objects.filter(event="raised").order_by("sequence")[1].pk
    message_for = mails.message_for

    def cannot(subscription, batch):
        if any(delivery.pk == odd for delivery in batch):
            raise ValueError("odd")
        return message_for(subscription, batch)

    monkeypatch.setattr(mails, "message_for", cannot)
    sending.send_due(subscribed.pk)
    assert postbox.mails == []
    minutes(3)
    assert sorted(mail["Subject"][-24:] for mail in postbox.mails) == [
        f"elmsworth/G{number} reads 6 % high."[-24:] for number in (0, 2)
    ]
    assert "fault" in Delivery.objects.get(pk=odd).last_error


def test_no_word_of_an_alert_can_add_a_header(subscribed, postbox):
    raised(says="High\r\nBcc: all@clinic.example\r\n\r\nHello", subject="a/G1\nX: y")
    work()
    (mail,) = postbox.mails
    assert mail["Bcc"] is None
    assert "\n" not in mail["Subject"]


def test_no_word_of_an_alert_turns_the_direction_of_reading(subscribed, postbox):
    raised(says="High \u202eHgmm 6", why=["\u2067it\u2069 reads \u061chigh"], subject="a/G\u200f1")
    work()
    (mail,) = postbox.mails
    assert not set("\u202e\u2067\u2069\u061c\u200f") & set(str(mail["Subject"]) + mail.get_content())
    assert "Why: it reads high" in mail.get_content()


def test_a_mail_server_that_is_busy_is_asked_again(subscribed, postbox, minutes):
    postbox.refusal = "451 try later"
    raised()
    work()
    assert postbox.mails == []
    assert "451" in Delivery.objects.get(event="raised").last_error
    minutes(3)
    assert len(postbox.mails) == 1


def test_links_are_good_for_one_purpose_and_cannot_be_guessed(clock, person, postbox):
    subscribe(person, "email", ADDRESS, {})
    work()
    confirm, leave = link(postbox, "confirm"), link(postbox, "leave")
    assert Client().post(confirm.replace("confirm", "leave")).status_code == 200
    assert Client().post(leave.replace("leave", "confirm")).status_code == 404
    assert Client().post(confirm[:-1] + ("A" if confirm[-1] != "A" else "B")).status_code == 404
    assert Subscription.objects.get().confirmed_at is None


def test_without_a_mail_server_it_says_what_is_to_be_set(clock, person, settings):
    settings.VACUARY_MAIL = False
    with pytest.raises(Invalid) as refused:
        subscribe(person, "email", ADDRESS, {})
    assert "VACUARY_MAIL" in refused.value.hint
    assert refused.value.faults[0].field == "channel"


@pytest.mark.parametrize(
    "to", ["", "bench", "a@b", "a@b.example, c@d.example", "a@b.example\nBcc: c@d.example", "ä@b.example"]
)
def test_what_is_no_address_is_refused(clock, person, postbox, to):
    with pytest.raises(Invalid) as refused:
        subscribe(person, "email", to, {})
    assert refused.value.faults[0].field == "to"

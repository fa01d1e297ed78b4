"""Tell of alerts by e-mail: one message for all that is due to an address.

Every message can be left with one press (RFC 8058), says that a machine wrote it (RFC 3834), and has the same
Message-ID each time it is tried. Its text comes from the alert's document alone.
"""

import json
import smtplib
from collections.abc import Mapping, Sequence
from email.headerregistry import Address
from typing import Any

from django.conf import settings
from django.core.mail import EmailMessage

from registry.alerts.delivery import links
from registry.alerts.delivery.outcomes import NotDelivered
from registry.models import Delivery, Subscription

_SUBJECT_LONGEST = 120
_FOOT = """
--
You asked Vacuary for this. No more of it: {leave}
"""
_CONFIRM = """Somebody with an account at Vacuary, a registry of breast-pump bench runs, asked
that this address be told when a pump, a build or a gauge stands out.

If that was you, confirm it within three days:

    {confirm}

If it was not, do nothing. The address is forgotten by itself, or at once here:

    {leave}
"""


def is_configured() -> bool:
    """Whether this installation can send mail, with links in it that lead back here."""
    return bool(settings.VACUARY_MAIL and settings.VACUARY_ADDRESS)


def send(subscription: Subscription, batch: Sequence[Delivery]) -> None:
    """Send one message for all of a batch. Raises NotDelivered when the mail server does not take it."""
    if not is_configured():
        raise NotDelivered("this server is not set up to send mail")
    message = message_for(subscription, batch)
    try:
        message.send()
    except smtplib.SMTPRecipientsRefused as error:
        code = next((number for number, _ in error.recipients.values()), 0)
        raise NotDelivered(f"the mail server refused the address ({code})", answers=True) from None
    except smtplib.SMTPResponseException as error:  # its text may hold the address, which stays out of lists
        raise NotDelivered(f"the mail server answered {error.smtp_code}", answers=True) from None
    except (smtplib.SMTPException, OSError) as error:
        raise NotDelivered(f"the mail server could not be reached ({type(error).__name__})") from None


def message_for(subscription: Subscription, batch: Sequence[Delivery]) -> EmailMessage:
    """Return the message that tells of a batch of deliveries, or asks to confirm the address."""
    leave = links.leave(subscription)
    if batch[0].event == "confirm":
        subject = "Confirm that Vacuary may write to this address"
        text = _CONFIRM.format(confirm=links.confirm(subscription), leave=leave)
    else:
        told = [json.loads(delivery.payload) for delivery in batch]
        subject = _subject(told)
        text = "\n\n".join(_paragraph(one) for one in told) + "\n" + _FOOT.format(leave=leave)
    headers = {
        "Message-ID": f"<{batch[0].name.hex}@{_domain()}>",
        "List-Unsubscribe": f"<{leave}>",
        "List-Unsubscribe-Post": "List-Unsubscribe=One-Click",
        "Auto-Submitted": "auto-generated",
    }
    return EmailMessage(subject, text, settings.VACUARY_MAIL_FROM, [subscription.to], headers=headers)


def _subject(told: Sequence[Mapping[str, Any]]) -> str:
    if len(told) > 1:
        return f"Vacuary: {len(told)} messages about alerts"
    alert = told[0]["data"].get("alert")
    if alert is None:
        return "Vacuary: a test"
    return _one_line(f"Vacuary, {_event(told[0])}: {alert['says']}")[:_SUBJECT_LONGEST]


def _paragraph(one: Mapping[str, Any]) -> str:
    alert = one["data"].get("alert")
    if alert is None:
        return "This is a test. Alerts will come to this address in the same way."
    about = ", ".join(f"{kind.replace('_', ' ')} {name}" for kind, name in alert["subject"].items())
    parts = [
        _one_line(f"{_event(one).capitalize()}: {alert['says']}"),
        _one_line(f"About: {about}. Since {alert['since']}. Rule: {alert['rule']}."),
        *(_one_line(f"Why: {line}") for line in alert.get("why") or ()),
        *([_one_line(f"What to do: {alert['advice']}")] if alert.get("advice") else []),
        *(_one_line(f"Caution: {line}") for line in alert.get("cautions") or ()),
        links.alert(alert["id"]),
    ]
    return "\n".join(parts)


def _event(one: Mapping[str, Any]) -> str:
    return str(one["type"]).removeprefix("alert.")


def _one_line(text: str) -> str:
    """No line break may come from data: in a header it would begin another header."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def _domain() -> str:
    return Address(addr_spec=settings.VACUARY_MAIL_FROM.rpartition("<")[2].rstrip("> ")).domain

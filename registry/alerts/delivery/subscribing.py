"""Subscriptions: made, changed, ended, tried and replayed by the operator they belong to."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any, Final

from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone

from registry.alerts.delivery import keys, mails
from registry.alerts.delivery.reaching import target_of
from registry.alerts.delivery.spreading import enqueue
from registry.alerts.delivery.tasks import send
from registry.alerts.narrowing import at_least, rule_of
from registry.errors import Conflict, NotFound, unmeant
from registry.models import Channel, Delivery, DeliveryState, Operator, Subscription
from registry.models.lookup import find_clinic, find_pump_model

MOST_EACH: Final = 20
MOST_UNCONFIRMED: Final = 3
MOST_FORMER: Final = 3  # replaced secrets that sign at one time
_FORGOTTEN: Final = "forgotten"  # no address looks so
NARROWING: Final = ("model", "clinic", "rule", "severity")


def subscriptions_of(operator: Operator) -> QuerySet[Subscription]:
    """An operator's subscriptions with the names they go by."""
    own = Subscription.objects.filter(operator=operator).exclude(to=_FORGOTTEN)
    return own.select_related("pump_model", "clinic")


def subscription_of(operator: Operator, number: int) -> Subscription:
    """One of an operator's subscriptions. Raises NotFound; those of others are not found either."""
    found = subscriptions_of(operator).filter(pk=number).first()
    if found is None:
        raise NotFound(f"You have no subscription {number}")
    return found


def subscribe(operator: Operator, channel: str, to: str, wish: Mapping[str, Any]) -> Subscription:
    """Make a subscription; `wish` holds any of `NARROWING`. Mail is sent once its address is confirmed.

    Raises Invalid on what cannot be, UnknownPumpModel, and Conflict where the operator has too many.
    """
    made = Subscription(operator=operator, channel=channel, to=_receiver(channel, to), nonce=keys.new_nonce())
    _narrow(made, wish)
    made.confirmed_at = None if channel == Channel.EMAIL else timezone.now()
    with transaction.atomic():
        Operator.objects.select_for_update().get(pk=operator.pk)  # so that two at once are counted
        _check_number(operator, channel)
        made.save()
        if channel == Channel.EMAIL:
            _queue(made, "confirm")
    return made


def change(operator: Operator, number: int, wish: Mapping[str, Any]) -> Subscription:
    """Narrow a subscription otherwise, pause it (`active` false) or take it up again."""
    with transaction.atomic():
        changed = _locked(operator, number)
        _narrow(changed, wish)
        if "active" in wish:
            changed.is_active, changed.ended_why = bool(wish["active"]), ""
        changed.save()
    return changed


def end(operator: Operator, number: int) -> None:
    """Delete a subscription with all that was sent to it. What is not there is ended already.

    An address that was not confirmed is forgotten at once, but what asked it counts as unconfirmed until
    `tidying` drops it: else asking and ending in turn would send a stranger any number of mails.
    """
    with transaction.atomic():
        found = Subscription.objects.select_for_update().filter(operator=operator, pk=number).first()
        if found is None:
            return
        if found.channel != Channel.EMAIL or found.confirmed_at is not None:
            found.delete()
            return
        found.deliveries.all().delete()
        found.to, found.is_active, found.nonce = _FORGOTTEN, False, keys.new_nonce()
        found.save(update_fields=["to", "is_active", "nonce"])


def rotate(operator: Operator, number: int) -> Subscription:
    """Have a webhook's secret replaced; the former one signs as well for a day, so that nothing is lost.

    Raises Conflict for another channel, and where secrets were replaced `MOST_FORMER` times within the day.
    """
    now = timezone.now()
    with transaction.atomic():
        rotated = _locked(operator, number)
        if rotated.channel != Channel.WEBHOOK:
            raise Conflict("Only a webhook has a secret", hint="End the subscription and add another one.")
        former = keys.still_signing(rotated, now)
        if len(former) >= MOST_FORMER:
            raise Conflict(
                f"{MOST_FORMER} replaced secrets sign already",
                hint=f"The first of them ends at {former[-1][1].isoformat(timespec='minutes')}.",
            )
        keys.replace_secret(rotated, now)
        rotated.save(update_fields=["nonce", "former_nonces"])
    return rotated


def try_out(operator: Operator, number: int) -> Delivery:
    """Queue a test message. Raises Conflict where nothing can be sent."""
    with transaction.atomic():
        return _queue(_sendable(operator, number), "test")


def replay(operator: Operator, number: int, since: datetime | int) -> int:
    """Send again all since a time, or from a sequence number on, under the same ids; return how many.

    Raises Conflict where nothing can be sent.
    """
    with transaction.atomic():
        subscription = _sendable(operator, number)
        where = {"sequence__gte": since} if isinstance(since, int) else {"created_at__gte": since}
        now = timezone.now()
        again = (
            subscription.deliveries.filter(**where)
            .exclude(event="confirm")
            .update(state=DeliveryState.WAITING, attempts=0, next_at=now, queued_at=now, last_error="")
        )
        if again:
            send.defer(subscription_id=subscription.pk)
    return again


def confirm(token: str) -> Subscription | None:
    """Note that the owner of an address wants mail; None when the link is not valid (any more)."""
    found = keys.subscription_of_link(token, "confirm")
    if found is not None and found.confirmed_at is None:
        found.confirmed_at = timezone.now()
        found.save(update_fields=["confirmed_at"])
    return found


def leave(token: str) -> bool:
    """End the subscription of a mail's link and forget the address; False when the link is not ours."""
    found = keys.subscription_of_link(token, "leave")
    if found is not None:
        found.delete()
    return found is not None


def _queue(subscription: Subscription, event: str) -> Delivery:
    (delivery,) = enqueue([subscription], event, {}, timezone.now())
    send.defer(subscription_id=subscription.pk)
    return delivery


def _locked(operator: Operator, number: int) -> Subscription:
    subscription_of(operator, number)
    locked = Subscription.objects.select_for_update(of=("self",))
    return locked.select_related("pump_model", "clinic").get(pk=number)


def _sendable(operator: Operator, number: int) -> Subscription:
    subscription = _locked(operator, number)
    if subscription.channel == Channel.FEED:
        raise Conflict("A feed is fetched, nothing is sent", hint="Fetch the feed: it holds the latest.")
    if subscription.confirmed_at is None:
        raise Conflict("The address is not confirmed", hint="Follow the link in the message to it first.")
    if not subscription.is_active:
        raise Conflict("The subscription is not active", hint="Set 'active' to true first.")
    return subscription


def _receiver(channel: str, to: str) -> str:
    if channel == Channel.WEBHOOK:
        target_of(to)
    elif channel == Channel.EMAIL:
        _check_mail(to)
    elif to:
        raise unmeant("to", "a feed has no receiver", "Leave 'to' out; the answer tells the feed's address.")
    return to


def _check_mail(to: str) -> None:
    if not mails.is_configured():
        raise unmeant(
            "channel",
            "this server sends no mail",
            "Use a webhook or feed; its keeper may set VACUARY_MAIL, VACUARY_MAIL_FROM and VACUARY_ADDRESS.",
        )
    try:
        validate_email(to)
    except ValidationError:
        raise unmeant("to", "is no mail address", "Give one address, such as bench@clinic.example.") from None
    if not to.isascii():
        raise unmeant("to", "must be written in ASCII", "Give one address, such as bench@clinic.example.")


def _check_number(operator: Operator, channel: str) -> None:
    own = Subscription.objects.filter(operator=operator)
    unconfirmed = own.filter(confirmed_at=None).count()
    if own.count() >= MOST_EACH or (channel == Channel.EMAIL and unconfirmed >= MOST_UNCONFIRMED):
        raise Conflict(
            f"An operator has at most {MOST_EACH} subscriptions, {MOST_UNCONFIRMED} of them unconfirmed",
            hint="End one first, or have an address confirmed; one that was asked in vain counts four days.",
        )


def _narrow(subscription: Subscription, wish: Mapping[str, Any]) -> None:
    if "model" in wish:
        subscription.pump_model = find_pump_model(wish["model"]) if wish["model"] else None
    if "clinic" in wish:
        subscription.clinic = find_clinic(wish["clinic"]) if wish["clinic"] else None
    if "rule" in wish:
        subscription.rule = rule_of(wish["rule"]) if wish["rule"] else ""
    if wish.get("severity"):
        subscription.severity = at_least(wish["severity"])[0]

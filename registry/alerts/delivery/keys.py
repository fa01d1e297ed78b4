"""Secrets and signed links. None is stored: each is made from a subscription's nonce and the server's key.

So a copy of the database holds no secret of a receiver, and whoever changes the server's key changes all of
them: receivers then need new subscriptions.
"""

import hashlib
import secrets
from base64 import b64encode
from datetime import datetime, timedelta
from typing import Final

from django.core import signing
from django.utils.crypto import salted_hmac

from registry.models import Subscription

CONFIRM_WITHIN: Final = timedelta(days=3)
FORMER_SIGNS_FOR: Final = timedelta(days=1)
_SALT = "vacuary.subscription"


def new_nonce() -> str:
    """A nonce for a new subscription: 256 random bits."""
    return secrets.token_urlsafe(32)


def webhook_keys(subscription: Subscription, now: datetime) -> list[bytes]:
    """The keys, of 32 bytes, that sign what goes to a webhook at `now`: its own first, then replaced ones."""
    former = [nonce for nonce, _ in still_signing(subscription, now)]
    return [_webhook_key(nonce) for nonce in (subscription.nonce, *former)]


def webhook_secret(subscription: Subscription) -> str:
    """The key as receivers are told it, in the form the Standard Webhooks specification gives it."""
    return "whsec_" + b64encode(_webhook_key(subscription.nonce)).decode()


def still_signing(subscription: Subscription, now: datetime) -> list[tuple[str, datetime]]:
    """The nonces of replaced secrets that sign as well, newest first, and until when."""
    former = [(nonce, datetime.fromisoformat(until)) for nonce, until in subscription.former_nonces]
    return [(nonce, until) for nonce, until in former if now < until]


def replace_secret(subscription: Subscription, now: datetime) -> None:
    """Give a subscription, which the caller saves, another secret; its present one signs for a day more."""
    former = [(subscription.nonce, now + FORMER_SIGNS_FOR), *still_signing(subscription, now)]
    subscription.former_nonces = [[nonce, until.isoformat()] for nonce, until in former]
    subscription.nonce = new_nonce()


def _webhook_key(nonce: str) -> bytes:
    return salted_hmac(f"{_SALT}.webhook", nonce, algorithm="sha256").digest()


def feed_key(subscription: Subscription) -> str:
    """What the address of a subscriber's own feed ends with: it tells the feed and proves the right to it."""
    return f"{subscription.pk}-{_digest('feed', subscription)}"


def subscription_of_feed(key: str) -> Subscription | None:
    """The active subscription whose feed has that key, or None. Its operator must not have left."""
    number, _, digest = key.partition("-")
    if not number.isascii() or not number.isdigit() or len(number) > 18:
        return None
    found = Subscription.objects.filter(
        pk=int(number), channel="feed", is_active=True, operator__is_active=True
    ).first()
    good = found is not None and secrets.compare_digest(digest.encode(), _digest("feed", found).encode())
    return found if good else None


def link_token(subscription: Subscription, what: str) -> str:
    """A signed token for a link in a mail: `what` is "confirm" or "leave"."""
    return signing.TimestampSigner(salt=f"{_SALT}.{what}", sep=".").sign(
        f"{subscription.pk}-{_digest(what, subscription)}"
    )


def subscription_of_link(token: str, what: str) -> Subscription | None:
    """The subscription a mail's link belongs to; None when it is not ours, too old, or gone.

    Only the link to confirm grows old: leaving must always work.
    """
    signer = signing.TimestampSigner(salt=f"{_SALT}.{what}", sep=".")
    try:
        said = signer.unsign(token, max_age=CONFIRM_WITHIN if what == "confirm" else None)
    except signing.BadSignature:
        return None
    number, _, digest = said.partition("-")
    found = Subscription.objects.filter(pk=int(number), channel="email").first()
    good = found is not None and secrets.compare_digest(digest, _digest(what, found))
    return found if good else None


def _digest(what: str, subscription: Subscription) -> str:
    key = salted_hmac(f"{_SALT}.{what}", subscription.nonce, algorithm="sha256").digest()
    return hashlib.sha256(key).hexdigest()[:40]

"""Sign a webhook, and check one: the symmetric scheme of the Standard Webhooks specification, version 1.0.0.

HMAC-SHA256 over "ID.TIMESTAMP.BODY", told in base64 behind "v1,". This module needs nothing but the standard
library, so a receiver may take it as it is.
"""

import hashlib
import hmac
from base64 import b64decode, b64encode
from collections.abc import Mapping, Sequence

TOLERANCE_S = 300


def sign(keys: Sequence[bytes], name: str, timestamp: int, body: bytes) -> dict[str, str]:
    """Return the three headers for a body (bytes) sent under the id `name` at `timestamp` (Unix seconds).

    Each key signs, so that a receiver takes it that knows any of them.
    """
    return {
        "webhook-id": name,
        "webhook-timestamp": str(timestamp),
        "webhook-signature": " ".join(f"v1,{_signature(key, name, str(timestamp), body)}" for key in keys),
    }


def is_genuine(secret: str, headers: Mapping[str, str], body: bytes, now: float) -> bool:
    """Whether a request came from who knows `secret` ("whsec_..."), unchanged and not long ago.

    `headers` have lower-case names; `body` is as received, not parsed and written again; `now` is in Unix
    seconds. A receiver also drops what has a webhook-id that it has had already.
    """
    name, said = headers.get("webhook-id", ""), headers.get("webhook-timestamp", "")
    if not (said.isascii() and said.isdigit()) or abs(int(said) - now) > TOLERANCE_S:
        return False
    right = _signature(b64decode(secret.removeprefix("whsec_")), name, said, body).encode()
    given = [one[3:].encode() for one in headers.get("webhook-signature", "").split() if one[:3] == "v1,"]
    return any(hmac.compare_digest(right, one) for one in given)


def _signature(key: bytes, name: str, timestamp: str, body: bytes) -> str:
    content = f"{name}.{timestamp}.".encode() + body
    return b64encode(hmac.new(key, content, hashlib.sha256).digest()).decode()

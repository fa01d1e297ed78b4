"""Signatures of webhooks against the Standard Webhooks specification 1.0.0 and the library's hmac."""

import base64
import hashlib
import hmac
import textwrap
from pathlib import Path
from typing import Any

import pytest

from registry.alerts.delivery.signatures import is_genuine, sign

# The fixed example in the tests of the specification's own libraries (github.com/standard-webhooks/
# standard-webhooks, libraries/javascript/src/webhook.test.ts, "sign function works").
SECRET = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"
NAME, TIMESTAMP, BODY = "msg_p5jXN8AQM9LWM0D4loKWxJek", 1614265330, b'{"test": 2432232314}'
SIGNATURE = "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="
KEY = base64.b64decode(SECRET.removeprefix("whsec_"))


def headers() -> dict[str, str]:
    return sign([KEY], NAME, TIMESTAMP, BODY)


def test_the_published_example_comes_out():
    assert headers() == {
        "webhook-id": NAME,
        "webhook-timestamp": str(TIMESTAMP),
        "webhook-signature": SIGNATURE,
    }
    assert is_genuine(SECRET, headers(), BODY, TIMESTAMP)


def test_the_signature_is_the_standard_librarys_hmac_of_id_timestamp_and_body():
    """The specification, "Signature scheme": `{msg_id}.{timestamp}.{payload}`, HMAC-SHA256, base64."""
    content = b"msg_p5jXN8AQM9LWM0D4loKWxJek.1614265330." + BODY
    digest = hmac.digest(KEY, content, hashlib.sha256)
    assert headers()["webhook-signature"] == "v1," + base64.b64encode(digest).decode()


@pytest.mark.parametrize(
    "changes",
    [
        {"webhook-id": "msg_other"},
        {"webhook-timestamp": str(TIMESTAMP + 1)},
        {"webhook-timestamp": "soon"},
        {"webhook-signature": "v1,AAAA"},
        {"webhook-signature": SIGNATURE.removeprefix("v1,")},
        {"webhook-signature": "v1,häßlich"},
        {"webhook-signature": ""},
    ],
)
def test_what_was_changed_is_not_genuine(changes):
    assert not is_genuine(SECRET, {**headers(), **changes}, BODY, TIMESTAMP)


def test_another_body_another_secret_and_an_old_message_are_not_genuine():
    assert not is_genuine(SECRET, headers(), BODY + b" ", TIMESTAMP)
    assert not is_genuine("whsec_" + base64.b64encode(b"x" * 24).decode(), headers(), BODY, TIMESTAMP)
    assert not is_genuine(SECRET, headers(), BODY, TIMESTAMP + 301)
    assert not is_genuine(SECRET, {}, BODY, TIMESTAMP)


def test_one_of_several_signatures_is_enough():
    """The specification, "Webhook headers": a list with blanks between, for changing keys."""
    several = {**headers(), "webhook-signature": f"v1a,c29tZXRoaW5n v1,AAAA {SIGNATURE}"}
    assert is_genuine(SECRET, several, BODY, TIMESTAMP)


def test_while_a_key_is_changed_a_receiver_may_know_either():
    """The specification, "Webhook headers" again: one signature for each key, the same content under all."""
    other = b"y" * 24
    told = sign([other, KEY], NAME, TIMESTAMP, BODY)
    first, second = told["webhook-signature"].split(" ")
    assert second == SIGNATURE
    digest = hmac.digest(other, b"msg_p5jXN8AQM9LWM0D4loKWxJek.1614265330." + BODY, hashlib.sha256)
    assert first == "v1," + base64.b64encode(digest).decode()
    for key in (other, KEY):
        assert is_genuine("whsec_" + base64.b64encode(key).decode(), told, BODY, TIMESTAMP)


def test_the_readme_shows_receivers_how_to_check_one(monkeypatch):
    page = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    begin = page.index("    import base64, hashlib, hmac, time")
    shown: dict[str, Any] = {}
    exec(textwrap.dedent(page[begin : page.index("**E-mail** goes")]), shown)
    monkeypatch.setattr(shown["time"], "time", lambda: float(TIMESTAMP))
    assert shown["is_genuine"](SECRET, headers(), BODY)
    assert not shown["is_genuine"](SECRET, headers(), BODY + b" ")
    assert shown["is_genuine"](SECRET, sign([b"y" * 24, KEY], NAME, TIMESTAMP, BODY), BODY)

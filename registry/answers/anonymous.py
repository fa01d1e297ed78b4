"""Codes that stand for clinics where the community looks on."""

import base64

from django.utils.crypto import salted_hmac


def anonymous_code(clinic: int, within: str) -> str:
    """Return what a clinic is called `within` one matter, as "clinic K7QM2A".

    The same within that matter at every time, another in another, and not to be worked back without the
    server's secret key.
    """
    digest = salted_hmac("registry.answers.anonymous", f"{within}:{clinic}", algorithm="sha256").digest()
    return f"clinic {base64.b32encode(digest).decode()[:6]}"

"""Text from outside: what names are made of, and what of people's own words is shown.

Marks that turn the direction of reading (Unicode Standard Annex 9) let a text look like another one, and
control characters end up in terminals and mails. Names, by which things are found and told apart, hold
neither; in what people wrote they stay as they were sent and are left out wherever it is shown.
"""

import re
from typing import Final

NAME_RULE: Final = "must be printable text, without marks that turn the direction of reading"
# C0 and C1 controls but for tabs and line breaks, directional marks, embeddings, overrides and isolates.
_HIDDEN: Final = re.compile(
    r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069\ufeff]"
)


def is_name(text: str) -> bool:
    """Whether a text can be a name, a label, a code or a serial: signs that can be seen, and plain blanks."""
    return text.isprintable()


def readable(text: str) -> str:
    """Return a text without what would change how the text around it reads; lines and tabs stay."""
    return _HIDDEN.sub("", text)

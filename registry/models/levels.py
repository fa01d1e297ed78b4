"""One spelling of a level, for what is stored and what is asked."""

import re


def level_text(level: str | float) -> str:
    """Return a level as it is stored: "LOW" is low; 3, 3.0 and "3.0" are 3."""
    return re.sub(r"^(\d+)\.0+$", r"\1", " ".join(str(level).split()).lower())

"""Keep text in a CSV file from becoming a formula when a spreadsheet opens it.

A spreadsheet takes a cell that begins with one of a few signs for a formula and may run it, so a serial
number somebody made up could run a command on a colleague's computer. Source, from memory: OWASP, "CSV
Injection", which names = + - @, tab, carriage return and line feed, warns of full-width forms, and advises to
set an apostrophe before the cell. Files made for a comma are also opened where the semicolon parts cells, so
what follows a semicolon, a tab or a line break inside a text counts as the start of a cell too.
"""

import re
from functools import lru_cache

_SIGNS = r"=+\-@＝＋－＠﹦﹢﹣﹫"
_NOT_SEEN = r"\s\x00-\x1f\x7f-\x9f\u200b-\u200f\u2060\ufeff"
# Blanks and apostrophes before the sign: blanks, since some programs pass over them; apostrophes, so that a
# text which brought its own gets one more and taking one away always gives the text as it was.
_COULD_START = re.compile(rf"(?:(?<=[;\t\r\n])|^)(?=['{_NOT_SEEN}]*[{_SIGNS}])|^(?='*[\t\r\n])")

RULE = (
    "In CSV, an apostrophe stands before a text that could start a formula in a spreadsheet: one that begins "
    "with = + - @, their full-width forms, a tab or a line break, also after blanks or apostrophes. The same "
    "after a semicolon, tab or line break inside a text. Take one apostrophe away to get the text as it was. "
    "Numbers are never changed, and Parquet holds all texts as they were."
)


@lru_cache(maxsize=65536)
def harmless(text: str) -> str:
    """The text with an apostrophe wherever a formula could start; other texts as they are."""
    return _COULD_START.sub("'", text)

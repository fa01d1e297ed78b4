"""Fields that questions are asked with; what they refuse tells what could be said instead."""

import re
from typing import Any

from rest_framework import serializers

_OFFSET_AFTER_BLANK = re.compile(r"(T\S+) (\d\d:?\d\d)$")


class OneOf(serializers.ChoiceField):
    """One of a few names, whatever their capitals and blanks around them; its refusal lists them."""

    default_error_messages = {"invalid_choice": 'there is no "{input}"; known: {known}'}  # noqa: RUF012

    def to_internal_value(self, data: Any) -> Any:
        said = str(data).strip().casefold()
        if not said and self.allow_blank:
            return ""
        for name in self.choices:
            if str(name).casefold() == said:
                return name
        return self.fail("invalid_choice", input=str(data)[:60], known=", ".join(map(str, self.choices)))


class Moment(serializers.DateTimeField):
    """A day or a time, with its offset or in UTC.

    The `+` of an offset that was pasted into an address arrives as a blank, and is taken for what it was.
    """

    default_error_messages = {  # noqa: RUF012 - the framework's own way
        "invalid": "not a time; write it as 2026-03-01 or 2026-03-01T12:00Z",
        "overflow": "not a time of these centuries; write it as 2026-03-01 or 2026-03-01T12:00Z",
    }

    def to_internal_value(self, value: Any) -> Any:
        return super().to_internal_value(_OFFSET_AFTER_BLANK.sub(r"\1+\2", value.strip()))

"""Bring single records of the catalogue to what is declared, and say what that did."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, TypeVar

from django.db import models

from registry.models import Claim, Revision, SerialScheme

M = TypeVar("M", bound=models.Model)
_NAMES = {SerialScheme: "serial_scheme", Claim: "claim", Revision: "revision"}


_OF_REVISION = ("order", "firmware", "marks")


def said_of_revision(entry: Mapping[str, Any]) -> dict[str, Any]:
    """Return the values a declaration says of a revision; what it leaves out stays as it is stored."""
    return {name: entry[name] for name in _OF_REVISION if entry.get(name) is not None}


@dataclass(frozen=True)
class Change:
    """What was done to one record: created, changed, removed or unchanged."""

    kind: str
    name: str
    action: str


def bring(
    kind: type[M], key: dict[str, Any], values: dict[str, Any], signed: dict[str, Any] | None = None
) -> tuple[M, Change]:
    """Make the record of `key` hold `values`, writing only when it does not.

    What is written is `signed`: by whom is set whenever a value is.
    """
    record: M
    record, is_new = models.QuerySet(kind).get_or_create(**key, defaults=values | (signed or {}))
    differing = [] if is_new else [name for name, value in values.items() if getattr(record, name) != value]
    if differing:
        written = {name: values[name] for name in differing} | (signed or {})
        for name, value in written.items():
            setattr(record, name, value)
        record.save(update_fields=list(written))
    action = "created" if is_new else "changed" if differing else "unchanged"
    return record, Change(_NAMES[kind], str(record), action)

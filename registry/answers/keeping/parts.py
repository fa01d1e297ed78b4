"""Parts that answers are made of, made ahead and kept: never stale, for the reason `served.kept` gives.

A part tells of one pump model under one edition, whatever a question narrows it down to. It is stored with
the counts of changes read *before* it was made, and found by one statement that sees them unchanged.
"""

import logging
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from django.db import connection

from registry.answers.keeping.bounds import MOST_BYTES_A_PART, bound_parts
from registry.answers.keeping.program import code_mark
from registry.answers.keeping.watching import tables_read, unwatched
from registry.models.kept import EVERYTHING, SITTINGS

# Kept in place of a part that could not be made, that its kind will not make, or that may not be kept: it is
# not tried again before a change.
NOTHING = b""

# A part's scopes are its pump model and `always`.
IS_FRESH = """
kind = %(kind)s AND edition = %(edition)s AND code = %(code)s AND body <> ''
  AND (%(keys)s::text[] IS NULL OR key = ANY (%(keys)s))
  AND (%(models)s::bigint[] IS NULL OR pump_model = ANY (%(models)s))
  AND changes = (
    SELECT coalesce(sum(n), 0) FROM registry_changecount
    WHERE scope = kept.pump_model OR scope = ANY (%(always)s)
)
"""
_FRESH = f"SELECT pump_model, key, body FROM registry_keptpart kept WHERE {IS_FRESH}"  # noqa: S608 - a constant
_GOOD = """
SELECT key FROM registry_keptpart
WHERE kind = %(kind)s AND edition = %(edition)s AND code = %(code)s AND pump_model = %(model)s
  AND changes = (SELECT coalesce(sum(n), 0) FROM registry_changecount WHERE scope = ANY (%(scopes)s))
"""
_CHANGES = """
SELECT coalesce(sum(n), 0)::bigint FROM registry_changecount WHERE scope = ANY (%(scopes)s)
"""
_KEEP = """
INSERT INTO registry_keptpart (kind, key, edition, code, pump_model, changes, spent_s, body, made_at)
SELECT %(kind)s, %(key)s, %(edition)s, %(code)s, %(model)s, %(changes)s, %(spent_s)s, %(body)s, now()
WHERE %(changes)s = (SELECT coalesce(sum(n), 0) FROM registry_changecount WHERE scope = ANY (%(scopes)s))
ON CONFLICT (kind, key, edition, code, pump_model) DO UPDATE SET
    changes = excluded.changes, spent_s = excluded.spent_s, body = excluded.body, made_at = excluded.made_at
"""
log = logging.getLogger(__name__)


@dataclass(frozen=True)
class PartKind:
    """A kind of part: `make` works one out of a pump model, an edition and a key.

    A body is empty, NOTHING, where the part is better worked out when it is asked for. `keys` are those made
    ahead of a model in an edition, `("",)` where there is one part; up to 80 characters, and none is "*".
    `sittings` says that elevations of sittings count.
    """

    name: str
    make: Callable[[int, int, str], bytes]
    keys: Callable[[int, int], Iterable[str]]
    sittings: bool = False

    @property
    def always(self) -> list[int]:
        """The scopes of changes that concern the parts of every model."""
        return [EVERYTHING, *([SITTINGS] if self.sittings else [])]

    def by_this_program(self, edition: int | None) -> dict[str, Any]:
        """What tells this program's parts of this kind, as parameters of a statement."""
        return {"kind": self.name, "edition": edition, "code": code_mark(), "always": self.always}


def fresh(
    kind: PartKind, edition: int, key: str = "", models: Sequence[int] | None = None
) -> dict[int, bytes]:
    """Return the parts that are good now, by pump model: of those models, or of all. One query.

    What is not there is out of date or was never made.
    """
    return {model: body for (model, _), body in fresh_of(kind, edition, [key], models).items()}


def fresh_of(
    kind: PartKind, edition: int, keys: Sequence[str] | None, models: Sequence[int] | None = None
) -> dict[tuple[int, str], bytes]:
    """The same for several keys, or all there are, by pump model and key and of one moment."""
    wanted = {
        "keys": None if keys is None else list(keys),
        "models": None if models is None else list(models),
    }
    with connection.cursor() as cursor:
        cursor.execute(_FRESH, {**kind.by_this_program(edition), **wanted})
        return {(model, key): bytes(body) for model, key, body in cursor.fetchall()}


def made(kind: PartKind, edition: int, model: int, key: str = "") -> bytes:
    """Make a part now and keep it, unless something changed meanwhile, it is large, or cannot be kept."""
    place = Place(kind, edition, model)
    changes = place.changes()
    began = time.monotonic()
    with tables_read() as read:
        body = kind.make(model, edition, key)
    spent_s = time.monotonic() - began
    if nobody := unwatched(read):
        log.warning("%s are not kept: nobody counts changes of %s", kind.name, ", ".join(nobody))
    if nobody or len(body) > MOST_BYTES_A_PART:
        place.keep(key, changes, NOTHING, spent_s)
    else:
        place.keep(key, changes, body, spent_s)
    return body


@dataclass(frozen=True)
class Place:
    """Where the parts of a kind of one pump model under an edition are kept."""

    kind: PartKind
    edition: int
    model: int

    def changes(self) -> int:
        """How often anything they rest on changed until now."""
        with connection.cursor() as cursor:
            cursor.execute(_CHANGES, self._row())
            return int(cursor.fetchone()[0])

    def good(self) -> set[str]:
        """The keys of those that are good now, and of those that were tried and are not to be had now."""
        with connection.cursor() as cursor:
            cursor.execute(_GOOD, self._row())
            return {key for (key,) in cursor.fetchall()}

    def keep(self, key: str, changes: int, body: bytes, spent_s: float) -> None:
        """Keep one that was made of what was there after so many changes; not if there were more since."""
        with connection.cursor() as cursor:
            cursor.execute(_KEEP, self._row(key=key, changes=changes, body=body, spent_s=spent_s))
        bound_parts()

    def _row(self, **more: Any) -> dict[str, Any]:
        scopes = [self.model, *self.kind.always]
        return {**self.kind.by_this_program(self.edition), "model": self.model, "scopes": scopes, **more}

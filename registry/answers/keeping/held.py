"""What a process read out of parts and holds, so that what is asked for often is not sent and read again.

Whether a part is good is asked of the database every time (`parts`): what is held only spares its body. A row
of a table never changes, each change makes another one; so what was read is known by the row it came from, by
whatever transactions it was made, dropped or taken back.
"""

from collections import OrderedDict
from collections.abc import Callable, Sequence
from threading import Lock
from typing import Generic, NamedTuple, TypeVar

from django.db import connection

from registry.answers.keeping.parts import IS_FRESH, PartKind

Read = TypeVar("Read")

# Body and head of those that are not held. A row is told by where it lies, who made it, and when.
_FRESH = f"""
SELECT key, row, CASE WHEN row <> ALL (%(held)s::text[]) THEN body END
FROM registry_keptpart kept, concat_ws(' ', ctid, xmin, made_at) row
WHERE {IS_FRESH}
"""  # noqa: S608 - a constant


class _Entry(NamedTuple, Generic[Read]):
    row: str
    size: int
    read: Read


class Held(Generic[Read]):
    """Parts of a kind as `read` made them of their bodies, up to `most` bytes of these; those that were asked
    for the longest ago go first. What is read is shared by threads: it must not be changed."""

    def __init__(self, kind: PartKind, read: Callable[[bytes], Read], most: int) -> None:
        self.kind, self.read, self.most = kind, read, most
        self._held: OrderedDict[tuple[str, int, int, str], _Entry[Read]] = OrderedDict()
        self._lock = Lock()

    def fresh_of(self, edition: int, keys: Sequence[str], model: int) -> dict[str, Read]:
        """Return the parts of a pump model that are good now, by key. One query."""
        kind = self.kind.by_this_program(edition)
        places = {key: (kind["code"], edition, model, key) for key in keys}
        with self._lock:
            held = {key: self._held[place] for key, place in places.items() if place in self._held}
        known = [entry.row for entry in held.values()]
        with connection.cursor() as cursor:
            cursor.execute(_FRESH, {**kind, "keys": list(keys), "models": [model], "held": known})
            rows = cursor.fetchall()
        found = {
            key: held[key] if body is None else _Entry(row, len(body), self.read(bytes(body)))
            for key, row, body in rows
        }
        with self._lock:
            for key, entry in found.items():
                self._held[places[key]] = entry
                self._held.move_to_end(places[key])
            while sum(entry.size for entry in self._held.values()) > self.most:
                self._held.popitem(last=False)
        return {key: entry.read for key, entry in found.items()}

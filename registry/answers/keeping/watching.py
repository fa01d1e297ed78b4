"""Which tables statements read, and whether the changes of each are counted."""

import re
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import Any

from django.db import connection

from registry.models.watched import WATCHED

_TABLES = re.compile(r"\b(?:registry|pghistory|procrastinate|knox)_\w+")
# A part is read with the counts it is good for, which are among those of what is made of it.
_COUNTED = frozenset({"registry_keptpart", "registry_changecount"})
_TOTAL = "SELECT coalesce(sum(n), 0)::bigint FROM registry_changecount"


@contextmanager
def tables_read() -> Iterator[set[str]]:
    """Note which tables the statements within name."""
    read: set[str] = set()

    def note(execute: Any, sql: Any, *rest: Any) -> Any:
        read.update(_TABLES.findall(str(sql)))
        return execute(sql, *rest)

    with connection.execute_wrapper(note):
        yield read


def unwatched(read: Iterable[str]) -> list[str]:
    """Those of the tables whose changes nobody counts, so that nothing that rests on them may be kept."""
    return sorted(set(read) - WATCHED - _COUNTED)


def total_changes() -> int:
    """How often anything that is watched changed. One query."""
    with connection.cursor() as cursor:
        cursor.execute(_TOTAL)
        return int(cursor.fetchone()[0])

"""What is kept takes bounded room.

Of answers those nobody asked for the longest go first; of parts those of other programs and editions, and
then those that were the quickest to make for their size, which are missed the least.
"""

import itertools

from django.db import connection, transaction

from registry.answers.keeping.program import code_mark

MOST_BYTES = 1 << 20  # of one answer, compressed
MOST = 5_000
MOST_BYTES_TOGETHER = 256 << 20
MOST_BYTES_A_PART = 8 << 20
# The contrasts of units take the most, some 12 kB a unit, which is a small part of what its traces and their
# measurements take.
MOST_BYTES_OF_PARTS = 1 << 30
_DAYS = 30
_EVERY = 50  # answers that a process keeps between two looks
_EVERY_BYTES = 16 << 20  # of parts, since a look reads the row of every one

# Nobody waits here: a row that another process writes or drops just now is passed over.
_DROP = """
DELETE FROM registry_keptanswer WHERE digest IN (
    SELECT digest FROM registry_keptanswer WHERE digest IN (
        SELECT digest FROM (
            SELECT digest, asked_at, code, row_number() OVER latest AS place,
                   sum(octet_length(body)) OVER latest AS bytes
            FROM registry_keptanswer WINDOW latest AS (ORDER BY asked_at DESC, digest)
        ) ranked
        WHERE place > %(most)s OR bytes > %(bytes)s OR asked_at < now() - %(days)s * interval '1 day'
           OR code <> %(code)s AND asked_at < now() - interval '1 day'
    ) FOR UPDATE SKIP LOCKED
)
"""
# What another program made lately is let be: both may run side by side for a while, and neither makes again
# before a change what was dropped.
_DROP_PARTS = """
DELETE FROM registry_keptpart WHERE (kind, key, edition, code, pump_model) IN (
    SELECT kind, key, edition, code, pump_model FROM registry_keptpart
    WHERE (kind, key, edition, code, pump_model) IN (
        SELECT kind, key, edition, code, pump_model FROM (
            SELECT *, sum(size) OVER (
                ORDER BY own DESC, spent_s / greatest(size, 1) DESC, kind, key, edition, code, pump_model
            ) AS bytes
            FROM (
                SELECT kind, key, edition, code, pump_model, spent_s, made_at, octet_length(body) AS size,
                       code = %(code)s
                       AND edition = (SELECT number FROM registry_edition WHERE is_current) AS own
                FROM registry_keptpart
            ) sized
        ) ranked
        WHERE size > 0 AND bytes > %(bytes)s AND (own OR made_at < now() - interval '1 hour')
           OR NOT own AND made_at < now() - interval '1 day'
    ) FOR UPDATE SKIP LOCKED
)
"""
# One row a scope and connection is left by each that wrote; what is folded is the same sum before and after.
_FOLD = """
WITH left_over AS (
    SELECT scope, backend FROM registry_changecount
    WHERE backend <> 0 AND changed_at < now() - interval '1 minute' FOR UPDATE SKIP LOCKED
), gone AS (
    DELETE FROM registry_changecount counted USING left_over
    WHERE (counted.scope, counted.backend) = (left_over.scope, left_over.backend)
    RETURNING counted.scope, counted.n, counted.changed_at
)
INSERT INTO registry_changecount AS counted (scope, backend, n, changed_at)
SELECT scope, 0, sum(n), max(changed_at) FROM gone GROUP BY scope
ON CONFLICT (scope, backend) DO UPDATE SET
    n = counted.n + excluded.n, changed_at = greatest(counted.changed_at, excluded.changed_at)
"""
_FOLDING = 0x666F6C64  # one process folds at a time
_kept = itertools.count(1)
_parts_kept = [0]  # bytes since the last look


def bound() -> None:
    """Called after an answer was kept: every so often drop what is too much."""
    if next(_kept) % _EVERY == 0:
        drop()


def drop() -> int:
    """Drop kept answers beyond the bounds, and those long not asked for; returns how many."""
    with connection.cursor() as cursor:
        cursor.execute(
            _DROP, {"most": MOST, "bytes": MOST_BYTES_TOGETHER, "days": _DAYS, "code": code_mark()}
        )
        return int(cursor.rowcount)


def bound_parts(size: int) -> None:
    """Called after parts of that size were kept: every so often drop what is too much."""
    _parts_kept[0] += size
    if _parts_kept[0] >= _EVERY_BYTES:
        _parts_kept[0] = 0
        drop_parts()


def drop_parts() -> int:
    """Drop parts beyond the bound, and those no longer served; returns how many."""
    with connection.cursor() as cursor:
        cursor.execute(_DROP_PARTS, {"bytes": MOST_BYTES_OF_PARTS, "code": code_mark()})
        return int(cursor.rowcount)


def fold() -> None:
    """Put the counts that connections left behind together, so that few rows have to be summed."""
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SELECT pg_try_advisory_xact_lock(%s)", [_FOLDING])
        if cursor.fetchone()[0]:
            cursor.execute(_FOLD)

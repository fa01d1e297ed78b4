"""One view of the data for as long as an export takes."""

from collections.abc import Iterator
from contextlib import contextmanager

from django.db import connection, transaction


@contextmanager
def snapshot() -> Iterator[None]:
    """Read everything as it stood at the first look, whatever is uploaded or withdrawn meanwhile.

    Nothing can be written within. Inside a transaction that is open already, that transaction's view holds.
    """
    if connection.in_atomic_block:
        yield
        return
    with transaction.atomic():
        with connection.cursor() as cursor:
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
        yield

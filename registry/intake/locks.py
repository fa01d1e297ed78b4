"""What is locked for a write, in one order: editions, model, trace, rig, sitting, units, run, queue.

Everybody takes locks in this order, so writers may wait for each other but never in a circle. Uploads and
withdrawals share a pump model; a catalogue load has it alone, so nothing is judged by half a catalogue. A
switch of editions has the editions and every model alone; remeasuring shares the editions, and no model.
"""

from collections.abc import Iterable

from django.db import connection
from django.utils import timezone

from registry.models import PumpModel, Trace, Unit

_SHARE = "SELECT id FROM registry_pumpmodel WHERE id = %s FOR SHARE"
# An existing row is written as it is: that locks it, and another upload of the same bytes is waited for.
_ENTER = """
WITH model AS (
    SELECT catalogue_version FROM registry_pumpmodel WHERE id = %s FOR SHARE
), entered AS (
    INSERT INTO registry_trace (digest, size, received_at) SELECT %s, %s, %s FROM model
    ON CONFLICT (digest) DO UPDATE SET size = excluded.size
    RETURNING xmax = 0 AS is_new
)
SELECT model.catalogue_version, entered.is_new FROM model, entered
"""
_LOADING = 0x6361746C  # one catalogue load at a time
_EDITIONS = 0x65646974


def enter_upload(pump_model: PumpModel, trace: Trace) -> tuple[int, bool]:
    """Share the model and lock the trace's row, stored if new; for the start of an upload's transaction.

    Returns the catalogue version that now holds until the transaction ends, and whether the trace is new.
    """
    with connection.cursor() as cursor:
        cursor.execute(_ENTER, [pump_model.pk, trace.digest, trace.size, timezone.now()])
        version, is_new = cursor.fetchone()
    return int(version), bool(is_new)


def share_model(model_id: int) -> None:
    """Keep catalogue loads away from the model until the transaction ends."""
    with connection.cursor() as cursor:
        cursor.execute(_SHARE, [model_id])


def share_editions() -> None:
    """Keep a switch of editions away until the transaction ends."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock_shared(%s)", [_EDITIONS])


def lock_everything_for_switch() -> None:
    """Have the editions and all models alone: nobody uploads, withdraws, loads or remeasures meanwhile."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(%s)", [_EDITIONS])
        cursor.execute("SELECT pg_advisory_xact_lock(%s)", [_LOADING])
        cursor.execute("SELECT id FROM registry_pumpmodel ORDER BY id FOR NO KEY UPDATE")


def lock_trace(digest: str) -> None:
    """Keep uploads of the same bytes away until the transaction ends."""
    Trace.objects.select_for_update().get(pk=digest)


def lock_units(ids: Iterable[int]) -> dict[int, Unit]:
    """Lock units and return them by number."""
    units = Unit.objects.select_for_update(no_key=True, of=("self",)).select_related("asserted", "pump_model")
    return {unit.pk: unit for unit in units.filter(pk__in=set(ids)).order_by("pk")}


def lock_models_for_load(names: Iterable[str]) -> None:
    """Have the models of these names alone until the transaction ends, and be the only load."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(%s)", [_LOADING])
        cursor.execute(
            "SELECT id FROM registry_pumpmodel WHERE upper(name) = ANY(%s) ORDER BY id FOR NO KEY UPDATE",
            [[name.upper() for name in names]],
        )

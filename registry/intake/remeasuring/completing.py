"""Fill in what runs lack that were measured before it was kept: single cycles, imbalance, uncertainty parts.

Values, findings and states stay as they are.
"""

import json
from collections.abc import Iterator

from django.db import connection, transaction
from django.db.models import Exists, OuterRef, Q, QuerySet

from registry.intake.locks import share_editions
from registry.intake.measure import Taken
from registry.intake.remeasuring.portions import measure_under, with_gauges
from registry.intake.rows import store_details
from registry.models import Edition, Run, RunDetails, RunEdition

_AT_ONCE = 25
# A gauge that was declared anew since moves values; parts that belong to other values are not taken.
_FILL_PARTS = """
UPDATE registry_measurement m SET parts = t.parts::jsonb
FROM unnest(%s::bigint[], %s::text[], %s::float8[], %s::text[]) AS t (run, metric, value, parts)
WHERE m.run_id = t.run AND m.metric = t.metric AND m.edition_id = %s AND m.parts = '{}'
  AND abs(m.value - t.value) <= 1e-9 * abs(t.value)
"""


def lacking(edition: int) -> QuerySet[Run]:
    """Return the runs that were measured under an edition and have no details under it."""
    rows = RunEdition.objects.filter(run=OuterRef("pk"), edition=edition)
    is_current = Edition.objects.filter(number=edition, is_current=True)
    measured = Q(Exists(rows.filter(refused=""))) | (Q(Exists(is_current)) & ~Q(Exists(rows)))
    details = RunDetails.objects.filter(run=OuterRef("pk"), edition=edition)
    return Run.objects.filter(measured & ~Q(Exists(details)))


def complete(edition: int) -> int:
    """Measure such runs again and keep what they lack; return how many are complete now.

    A run that cannot be measured any more is passed over; the log says why.
    """
    count = 0
    for runs in _portions(edition):
        outcomes = [measure_under(run, edition) for run in runs]
        taken = [(outcome.run.pk, outcome.taken) for outcome in outcomes if outcome.taken is not None]
        with transaction.atomic():
            share_editions()
            store_details(edition, taken)
            _fill_parts(edition, taken)
        count += len(taken)
    return count


def _portions(edition: int) -> Iterator[list[Run]]:
    last = 0
    while numbers := list(
        lacking(edition).filter(pk__gt=last).order_by("pk").values_list("pk", flat=True)[:_AT_ONCE]
    ):
        yield with_gauges(numbers)
        last = numbers[-1]


def _fill_parts(edition: int, taken: list[tuple[int, Taken]]) -> None:
    rows = [
        (run, metric, q.value, json.dumps(dict(q.parts)))
        for run, found in taken
        for metric, q in found.measured.metrics.items()
    ]
    if rows:
        with connection.cursor() as cursor:
            cursor.execute(_FILL_PARTS, [*map(list, zip(*rows, strict=True)), edition])

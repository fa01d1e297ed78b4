"""Units: one physical pump each, with the revision that its serial span or its marks tell."""

from collections.abc import Iterable, Sequence

from django.db import connection
from django.db.backends.postgresql.psycopg_any import NumericRange

from registry.intake.spans import Extent
from registry.intake.subject import Subject
from registry.models import PumpModel, Revision, RevisionBasis, Run, RunState, SerialScheme, SerialSpan, Unit
from registry.models.serials import place

_PORTION = 2000
# What `resolve` says, for many units in one statement.
_RESOLVE = """
UPDATE registry_unit SET revision_id = said.revision_id, revision_basis = said.basis
FROM (
    SELECT unit.id, coalesce(declared.revision_id, unit.asserted_id, observed.revision_id) AS revision_id,
           CASE WHEN declared.revision_id IS NOT NULL THEN 'declared'
                WHEN coalesce(unit.asserted_id, observed.revision_id) IS NOT NULL THEN 'observed'
                ELSE 'unknown' END AS basis
    FROM registry_unit unit
    LEFT JOIN LATERAL (
        SELECT span.revision_id FROM registry_serialspan span
        WHERE span.scheme_id = unit.scheme_id AND span.series = unit.series AND span.keys @> unit.key
          AND span.basis = 'declared'
        ORDER BY span.id LIMIT 1
    ) declared ON true
    LEFT JOIN LATERAL (
        SELECT span.revision_id FROM registry_serialspan span
        WHERE span.scheme_id = unit.scheme_id AND span.series = unit.series AND span.keys @> unit.key
          AND span.basis = 'observed'
        ORDER BY span.id LIMIT 1
    ) observed ON true
    WHERE unit.id = ANY(%s)
) said
WHERE said.id = registry_unit.id AND (
    registry_unit.revision_id IS DISTINCT FROM said.revision_id OR registry_unit.revision_basis <> said.basis
)
"""


def draft_unit(subject: Subject) -> Unit:
    """Return the subject's unit as it would be stored, unsaved."""
    found = subject.place
    return Unit(
        pump_model=subject.pump_model,
        serial=subject.serial,
        scheme=found.scheme if found else None,
        series=found.series if found else "",
        key=found.key if found else None,
    )


def lock_unit(subject: Subject) -> tuple[Unit, bool]:
    """Return the subject's unit and whether it is new; it is locked until the transaction ends.

    The lock is what keeps two uploads for one unit from summarising past each other.
    """
    of_that_serial = Unit.objects.select_for_update(no_key=True, of=("self",)).select_related(
        "asserted", "revision"
    )
    known = {"pump_model": subject.pump_model, "serial": subject.serial}
    unit = of_that_serial.filter(**known).first()
    if unit is not None:
        return unit, False
    Unit.objects.bulk_create([draft_unit(subject)], ignore_conflicts=True)
    return of_that_serial.get(**known), True


def covering_spans(unit: Unit) -> list[SerialSpan]:
    """Return the stored spans the unit's serial lies in, declared ones first."""
    if unit.key is None:
        return []
    spans = SerialSpan.objects.select_related("revision").filter(
        scheme=unit.scheme_id, series=unit.series, keys__contains=NumericRange(unit.key, unit.key, "[]")
    )
    return sorted(spans, key=lambda span: (span.basis, span.pk))


def resolve(unit: Unit, spans: list[SerialSpan]) -> None:
    """Set the unit's revision and its basis from `spans` and what was asserted of it; saves nothing.

    A declared span outweighs what a clinic saw on the unit, which outweighs a span of observations.
    """
    declared = [span for span in spans if span.basis == "declared"]
    observed = unit.asserted or next((span.revision for span in spans if span.basis == "observed"), None)
    if declared:
        unit.revision, unit.revision_basis = declared[0].revision, RevisionBasis.DECLARED
    elif observed:
        unit.revision, unit.revision_basis = observed, RevisionBasis.OBSERVED
    else:
        unit.revision, unit.revision_basis = None, RevisionBasis.UNKNOWN


def first_assertion(unit: Unit) -> Revision | None:
    """Return the revision the unit's accepted runs say it is, by the earliest that says one."""
    run = (
        Run.objects.select_related("asserted")
        .filter(unit=unit, state=RunState.ACCEPTED, asserted__isnull=False)
        .order_by("id")
        .first()
    )
    return run.asserted if run else None


def resolve_again(
    pump_model: PumpModel, schemes: Sequence[SerialScheme] | None, extents: Iterable[Extent] = ()
) -> int:
    """Resolve units of a model afresh after its spans changed; with `schemes`, place all of them first.

    Without `schemes` only the units within `extents` are looked at. The caller has the model alone. Units
    are locked and taken in portions, by number, so memory stays bounded and whoever else writes a unit is
    waited for. Returns how many have another revision or basis now.
    """
    count, wanted = 0, _to_resolve(pump_model, schemes, extents)
    for start in range(0, len(wanted), _PORTION):
        locked = pump_model.units.select_for_update(no_key=True, of=("self",))
        units = list(locked.filter(pk__in=wanted[start : start + _PORTION]).order_by("pk"))
        if schemes is not None:
            moved = [unit for unit in units if _place(unit, schemes)]
            Unit.objects.bulk_update(moved, ["scheme", "series", "key"])
        with connection.cursor() as cursor:
            cursor.execute(_RESOLVE, [[unit.pk for unit in units]])
            count += cursor.rowcount
    return count


def _to_resolve(
    pump_model: PumpModel, schemes: Sequence[SerialScheme] | None, extents: Iterable[Extent]
) -> list[int]:
    units = pump_model.units.values_list("pk", flat=True)
    if schemes is not None:
        return sorted(units)
    found: set[int] = set()
    for extent in set(extents):
        found |= set(
            units.filter(scheme=extent.scheme, series=extent.series, key__range=(extent.low, extent.high))
        )
    return sorted(found)


def _place(unit: Unit, schemes: Sequence[SerialScheme]) -> bool:
    """Set the unit's place; returns whether it changed. Saves nothing."""
    before = unit.scheme_id, unit.series, unit.key
    found = place(unit.serial, schemes)
    unit.scheme, unit.series, unit.key = (
        (found.scheme, found.series, found.key) if found else (None, "", None)
    )
    return before != (unit.scheme_id, unit.series, unit.key)

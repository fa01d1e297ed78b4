"""Units: one physical pump each, with the revision that its serial span or its marks tell."""

from collections.abc import Sequence

from django.db.backends.postgresql.psycopg_any import NumericRange

from registry.intake.subject import Subject
from registry.models import PumpModel, Revision, RevisionBasis, Run, RunState, SerialScheme, SerialSpan, Unit
from registry.models.serials import place

_COLUMNS = ("scheme", "series", "key", "revision", "revision_basis")


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


def resolve_again(pump_model: PumpModel, schemes: Sequence[SerialScheme]) -> int:
    """Place and resolve all units of a model afresh, after its schemes or spans changed.

    The caller has the model alone. Units are locked and taken in portions, by number, so memory stays
    bounded and whoever else writes a unit is waited for. Returns how many changed.
    """
    count, last = 0, 0
    while portion := _portion(pump_model, last):
        changed = [unit for unit in portion if _place_and_resolve(unit, schemes)]
        count += Unit.objects.bulk_update(changed, _COLUMNS) if changed else 0
        last = portion[-1].pk
    return count


def _portion(pump_model: PumpModel, after: int) -> list[Unit]:
    units = pump_model.units.select_related("asserted").select_for_update(no_key=True, of=("self",))
    return list(units.filter(pk__gt=after).order_by("pk")[:500])


def _place_and_resolve(unit: Unit, schemes: Sequence[SerialScheme]) -> bool:
    """Set the unit's place and revision; returns whether either changed. Saves nothing."""
    before = [getattr(unit, f"{name}_id", getattr(unit, name)) for name in _COLUMNS]
    found = place(unit.serial, schemes)
    unit.scheme, unit.series, unit.key = (
        (found.scheme, found.series, found.key) if found else (None, "", None)
    )
    resolve(unit, covering_spans(unit))
    return before != [getattr(unit, f"{name}_id", getattr(unit, name)) for name in _COLUMNS]

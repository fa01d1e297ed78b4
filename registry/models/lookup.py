"""Find records by the names people type, and say what they may have meant.

A name that nobody knows is refused: an empty list for a mistyped name would read as "there is nothing".
"""

import difflib
from collections.abc import Iterable

from django.db import DEFAULT_DB_ALIAS

from registry.errors import Fault, Invalid, UnknownPumpModel, unmeant
from registry.models.bench import BenchSession, Gauge
from registry.models.catalogue import PumpModel, Revision
from registry.models.people import Clinic


def find_pump_model(name: str, field: str = "model") -> PumpModel:
    """Return the pump model of that name, whatever its capitals and blanks.

    Raises UnknownPumpModel on `field`, with the nearest names in `extra["nearest"]`.
    """
    tidied = " ".join(name.split())
    found = PumpModel.objects.select_related("maker").filter(name__iexact=tidied).first()
    if found is None:
        raise _unknown_pump_model(tidied, field)
    return found


def catalogued(pk: int, name: str, revisions: Iterable[tuple[int, str, int]]) -> PumpModel:
    """Return a pump model of which that was read, its revisions (key, label, order) as if prefetched.

    Whatever else is asked of any of them is read when it is asked.
    """
    model = PumpModel.from_db(DEFAULT_DB_ALIAS, ("id", "name"), (pk, name))
    names = ("id", "pump_model_id", "label", "order")
    known = model.revisions.all()
    known._result_cache = [  # noqa: SLF001 - there is no public way to tell what was read beside
        Revision.from_db(DEFAULT_DB_ALIAS, names, (key, pk, label, order)) for key, label, order in revisions
    ]
    model._prefetched_objects_cache = {"revisions": known}  # type: ignore[attr-defined]  # noqa: SLF001
    return model


def find_revision(pump_model: PumpModel, label: str) -> Revision:
    """Return the revision of that label. Raises Invalid naming the labels there are."""
    revisions = list(pump_model.revisions.all())
    for revision in revisions:
        if revision.label.casefold() == label.strip().casefold():
            return revision
    known = ", ".join(r.label for r in revisions) or "none yet"
    raise Invalid(
        f"{pump_model.name} has no revision '{label}'",
        hint=f"Known revisions: {known}. A curator adds a revision; until then leave the revision out.",
        faults=(Fault(f"no revision '{label}'", field="revision"),),
    )


def known_label(label: str) -> str:
    """Return a label that a revision of some pump model bears. Raises Invalid on the field `revision`."""
    if not Revision.objects.filter(label__iexact=label).exists():
        raise _unknown("revision", label, "GET revisions lists them.")
    return label


def find_clinic(code: str) -> Clinic:
    """Return the clinic of a code, whatever its capitals. Raises Invalid on the field `clinic`."""
    found = Clinic.objects.filter(code__iexact=code).first()
    if found is None:
        raise _unknown("clinic", code, "GET clinics lists them.")
    return found


def known_gauge(code: str) -> str:
    """Return a gauge's code that a clinic declared or recorded with. Raises Invalid on the field `gauge`.

    Codes are a clinic's own affair, so it may be the code of several gauges.
    """
    declared = Gauge.objects.filter(code__iexact=code)
    if not (declared.exists() or BenchSession.objects.filter(gauge_code__iexact=code).exists()):
        raise _unknown("gauge", code, "GET gauges, or vacuary gauge list, shows those that are declared.")
    return code


def _unknown(field: str, name: str, hint: str) -> Invalid:
    return unmeant(field, f"there is no {field} '{name[:60]}'", hint)


def _unknown_pump_model(name: str, field: str) -> UnknownPumpModel:
    names = list(PumpModel.objects.order_by("name").values_list("name", flat=True))
    by_fold = {known.casefold(): known for known in names}
    near = [by_fold[n] for n in difflib.get_close_matches(name.casefold(), by_fold, n=5, cutoff=0.4)]
    return UnknownPumpModel(
        f"No pump model is called '{name}'",
        hint=f"Did you mean {', '.join(near)}?" if near else "Ask a curator to add it to the catalogue.",
        faults=(Fault("no pump model of that name", field=field),),
        extra={"nearest": near},
    )

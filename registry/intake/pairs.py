"""The other side of a recording, where only what was said tells which column is which side."""

from registry.intake.declared import declared_of, usual_at_upload
from registry.models import Clinic, Gauge, Run, RunState, Side
from registry.waveform import Declared

Said = tuple[Declared, Declared]  # what was said of a file, and what was usual for its gauge
OPPOSITE = {Side.LEFT: Side.RIGHT, Side.RIGHT: Side.LEFT}


def said_of_other(
    digest: str, side: str, unit: tuple[int, str], clinic: Clinic, gauge: Gauge | None
) -> Said | None:
    """Return what was said of the stored run of the other side; None where there is none.

    That is the first run not withdrawn of the same trace, clinic, gauge and unit, which is told by its pump
    model's number and its serial.
    """
    if side not in OPPOSITE:
        return None
    other = OPPOSITE[Side(side)]
    runs = Run.objects.filter(trace=digest, side=other, clinic=clinic, session__gauge=gauge)
    of_unit = runs.filter(unit__pump_model=unit[0], unit__serial=unit[1]).exclude(state=RunState.WITHDRAWN)
    run = of_unit.order_by("pk").first()
    return None if run is None else (declared_of(run), usual_at_upload(run))

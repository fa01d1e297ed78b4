"""Look at the community's summaries through every rule and keep the book."""

from registry.alerts import book, gauge_off, unit_off
from registry.alerts.readings import pump_models_read_by, readings


def scan_gauge(gauge_id: int) -> None:
    """Judge one gauge and the units it read, over the pump models it read."""
    seen = readings(pump_models_read_by(gauge_id))
    shifts = gauge_off.shifts(seen)
    own = [shift for shift in shifts if shift.gauge == gauge_id]
    units = set(seen.table.loc[seen.table["gauge"] == gauge_id, "unit"])
    book.record(gauge_off.RULE, gauge_off.verdicts(seen, own))
    book.record(unit_off.RULE, unit_off.verdicts(seen, shifts, only=units))


def scan_community() -> None:
    """Judge every gauge and unit, and settle alerts whose subject nothing speaks of any more."""
    seen = readings()
    shifts = gauge_off.shifts(seen)
    for rule, verdicts in (
        (gauge_off.RULE, gauge_off.verdicts(seen, shifts)),
        (unit_off.RULE, unit_off.verdicts(seen, shifts)),
    ):
        book.record(rule, verdicts)
        book.settle_unjudged(rule, [verdict.subject for verdict in verdicts])

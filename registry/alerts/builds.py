"""What is called one build, as the rules of unlisted revisions and of drift look at it."""

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from functools import cached_property
from itertools import pairwise
from typing import NamedTuple

import numpy as np
import pandas as pd

from registry.alerts.readings import VACUUM, places
from registry.alerts.scanned import Scan
from registry.models import GaugeCalibration, Revision, Unit
from registry.statistics.robust import Floats
from registry.statistics.unlisted.behaviour import DATE, SERIAL, Order
from registry.statistics.unlisted.change import Change
from registry.statistics.unlisted.limits import IN_MMHG
from registry.statistics.unlisted.rows import Channel, Channels

_DAY_S = 86_400.0
_YEAR_S = 365.25 * _DAY_S
_SUBJECT_LONGEST = 79
_EPOCH = 719_163  # the first of January 1970, as dates count days
_UNITS = {"cycle_rate": "cycles/min"}


class _Unit(NamedTuple):
    """A unit's key and serial, and its place: `key` is the number that orders serials of one series."""

    pk: int
    serial: str
    scheme: int | None
    series: str
    key: Decimal | None


@dataclass(frozen=True)
class Build:
    """One revision with its readings, its units' serials, and the orders its units stand in.

    `read_at` is when each unit was first read, in seconds. `table` leaves out vacuum read by gauges and
    clinics that are known to be off.
    """

    revision: int
    pump_model: int
    name: str
    label: str
    table: pd.DataFrame
    serials: dict[int, str]
    orders: list[Order]
    read_at: dict[int, float] = field(default_factory=dict)
    runs: int = 0

    @property
    def subject(self) -> str:
        """How an alert names it; a very long model name is cut so that the label stays whole."""
        return f"{self.name[:_SUBJECT_LONGEST]}/{self.label}"

    @property
    def keys(self) -> dict[str, int]:
        """Database keys of what it is about."""
        return {"revision": self.revision, "pump_model": self.pump_model}

    @cached_property
    def channels(self) -> Channels:
        """The channels of its readings, made once for all that look at it."""
        return Channels(self.table)

    def by_date(self) -> tuple[tuple[int, ...], Floats]:
        """Units in order of the date they were first read, with those dates in years."""
        units = sorted(self.read_at, key=lambda unit: (self.read_at[unit], unit))
        return tuple(units), np.array([self.read_at[unit] for unit in units]) / _YEAR_S

    def change_document(self, channel: Channel, change: Change) -> dict[str, float | str]:
        """A change in the metric's own unit and in per cent of what the build reads, with its interval."""
        rows = self.table[self.table["metric"] == channel.metric]
        if channel.mode:
            rows = rows[rows["mode"] == channel.mode]
        centre = float(rows["mean"].median())
        sizes = [change.size, change.low, change.high]
        if channel.metric not in IN_MMHG:
            sizes = [centre * float(np.expm1(size)) for size in sizes]
        return {
            "change": round(sizes[0], 3),
            "low": round(sizes[1], 3),
            "high": round(sizes[2], 3),
            "percent": round(100 * sizes[0] / centre, 1),
            "unit": _UNITS.get(channel.metric, "mmHg"),
        }


def builds(scan: Scan) -> Sequence[Build]:
    """The builds in a scan's readings, read once a scan: three queries, and one for dates."""
    return scan.once(_builds)


def _builds(scan: Scan) -> list[Build]:
    table = _believed(scan)
    of = table["revision"].to_numpy(np.int64)
    revisions = [one for one in np.unique(of).tolist() if scan.asks_for(one)]
    if not revisions:
        return []
    names = Revision.objects.filter(pk__in=revisions).select_related("pump_model").in_bulk()
    units = _units(revisions)
    dates = scan.readings.dates
    table = _with_periods(table, dates)
    first = dict(zip(*_first_read(dates), strict=True))
    made = []
    for revision in revisions:
        rows = table[of == revision]
        read = set(rows["unit"].tolist())
        of_it = [unit for unit in units[revision] if unit.pk in read]
        read_at = {unit: first[unit] for unit in read & first.keys()}
        made.append(_build(names[revision], rows, of_it, read_at))
    return made


def _build(
    revision: Revision, rows: pd.DataFrame, units: Sequence[_Unit], read_at: dict[int, float]
) -> Build:
    return Build(
        revision=revision.pk,
        pump_model=revision.pump_model_id,
        name=revision.pump_model.name,
        label=revision.label,
        table=rows,
        serials={unit.pk: unit.serial for unit in units},
        orders=[*_by_serial(units), *_by_date(read_at)],
        read_at=read_at,
        runs=int(np.bincount(pd.factorize(rows["metric"])[0], rows["runs"]).max()),
    )


def _units(revisions: Sequence[int]) -> Mapping[int, list[_Unit]]:
    found: dict[int, list[_Unit]] = defaultdict(list)
    units = Unit.objects.filter(revision__in=revisions)
    for revision, pk, serial, scheme, series, key in units.values_list("revision", *_Unit._fields):
        if revision is not None:
            found[revision].append(_Unit(pk, serial, scheme, series, key))
    return found


def _first_read(dates: pd.DataFrame) -> tuple[list[int], list[float]]:
    """Units, and when each was first read by any gauge."""
    units, code = np.unique(dates["unit"].to_numpy(np.int64), return_inverse=True)
    first = np.full(units.size, np.inf)
    np.minimum.at(first, code, dates["first"].to_numpy(float))
    return units.tolist(), first.tolist()


def _believed(scan: Scan) -> pd.DataFrame:
    """The readings without vacuum of gauges and clinics that earlier rules found off."""
    table, gauges, clinics = (
        scan.readings.table,
        scan.off("gauge_off", "gauge"),
        scan.off("clinic_off", "clinic"),
    )
    if not gauges and not clinics:
        return table
    off = table["gauge"].isin(gauges) | table["clinic"].isin(clinics)
    return table[~(off & table["metric"].isin(VACUUM))]


def _with_periods(table: pd.DataFrame, dates: pd.DataFrame) -> pd.DataFrame:
    """With `period`: how many calibrations a gauge had when it first read a unit; they may move its lean."""
    calibrated = _calibrated(np.unique(table["gauge"]).tolist())
    period = [
        bisect_right(calibrated.get(gauge, ()), at)
        for gauge, at in zip(dates["gauge"], dates["first"], strict=True)
    ]
    place = places(dates, table)
    # A pair nobody knows the date of has the place -1: the last, put behind all others.
    return table.assign(period=np.array([*period, 0], np.int64)[place])


def _calibrated(gauges: Sequence[int]) -> Mapping[int, list[float]]:
    """When gauges were calibrated, in order."""
    found = defaultdict(list)
    rows = GaugeCalibration.objects.filter(gauge__in=gauges).order_by("on")
    for gauge, on in rows.values_list("gauge", "on"):
        found[gauge].append((on.toordinal() - _EPOCH) * _DAY_S)
    return found


def _by_serial(units: Sequence[_Unit]) -> list[Order]:
    series = defaultdict(list)
    for unit in units:
        if unit.key is not None:
            series[unit.scheme, unit.series].append((unit.key, unit.pk))
    made = []
    for of_series in series.values():
        placed = sorted(of_series)
        cuts = np.array([a[0] != b[0] for a, b in pairwise(placed)], bool)
        made.append(Order(SERIAL, tuple(unit for _, unit in placed), cuts))
    return made


def _by_date(read_at: dict[int, float]) -> list[Order]:
    units = sorted(read_at, key=lambda unit: (read_at[unit], unit))
    days = np.array([read_at[unit] // _DAY_S for unit in units])
    return [Order(DATE, tuple(units), np.diff(days) > 0)] if len(units) > 1 and days[0] < days[-1] else []

"""What is called one build, as the rules of unlisted revisions and of drift look at it."""

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from itertools import pairwise

import numpy as np
import pandas as pd

from registry.alerts.readings import VACUUM
from registry.alerts.scanned import Scan
from registry.models import GaugeCalibration, Revision, Unit
from registry.statistics.robust import Floats
from registry.statistics.unlisted.behaviour import DATE, SERIAL, Order
from registry.statistics.unlisted.change import Change
from registry.statistics.unlisted.limits import IN_MMHG
from registry.statistics.unlisted.rows import Channel

_DAY_S = 86_400.0
_YEAR_S = 365.25 * _DAY_S
_SUBJECT_LONGEST = 79
_UNITS = {"cycle_rate": "cycles/min"}


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


def builds(scan: Scan) -> Iterator[Build]:
    """The builds in a scan's readings: three queries for all, and one for dates nobody asked for before."""
    table = _believed(scan)
    if not len(table):
        return
    revisions = [int(one) for one in np.unique(table["revision"]) if scan.asks_for(int(one))]
    if not revisions:
        return
    table = table[table["revision"].isin(revisions)]
    names = Revision.objects.filter(pk__in=revisions).select_related("pump_model").in_bulk()
    units = defaultdict(list)
    for unit in Unit.objects.filter(revision__in=revisions).values_list(
        "revision", "pk", "serial", "scheme", "series", "key"
    ):
        units[unit[0]].append(unit[1:])
    first = scan.readings.dates
    table = _with_periods(table, first)
    earliest = first.groupby("unit")["first"].min()
    dates: dict[int, float] = dict(zip(earliest.index.tolist(), earliest.tolist(), strict=True))
    for revision in revisions:
        rows = table[table["revision"] == revision]
        one, read = names[revision], set(rows["unit"].tolist())
        of_it = [unit for unit in units[revision] if unit[0] in read]
        read_at = {unit: dates[unit] for unit in read if unit in dates}
        yield Build(
            revision=one.pk,
            pump_model=one.pump_model_id,
            name=one.pump_model.name,
            label=one.label,
            table=rows,
            serials={unit[0]: unit[1] for unit in of_it},
            orders=[*_by_serial(of_it), *_by_date(read_at)],
            read_at=read_at,
            runs=int(rows.groupby("metric")["runs"].sum().max()),
        )


def _believed(scan: Scan) -> pd.DataFrame:
    """The readings without vacuum of gauges and clinics that earlier rules found off."""
    table = scan.readings.table
    off = table["gauge"].isin(scan.off("gauge_off", "gauge")) | table["clinic"].isin(
        scan.off("clinic_off", "clinic")
    )
    return table[~(off & table["metric"].isin(VACUUM))]


def _with_periods(table: pd.DataFrame, first: pd.DataFrame) -> pd.DataFrame:
    """With `period`: how many calibrations a gauge had when it first read a unit; they may move its lean."""
    calibrated: dict[int, list[float]] = defaultdict(list)
    for gauge, on in GaugeCalibration.objects.order_by("on").values_list("gauge", "on"):
        calibrated[gauge].append((on.toordinal() - 719_163) * _DAY_S)
    period = [bisect_right(calibrated[g], at) for g, at in zip(first["gauge"], first["first"], strict=True)]
    dated = table.merge(
        first.assign(period=period)[["unit", "gauge", "period"]], on=["unit", "gauge"], how="left"
    )
    return dated.assign(period=dated["period"].fillna(0).astype("int64"))


def _by_serial(units: Sequence[tuple[int, str, int | None, str, Decimal | None]]) -> list[Order]:
    series = defaultdict(list)
    for unit, _, scheme, name, key in units:
        if key is not None:
            series[scheme, name].append((key, unit))
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

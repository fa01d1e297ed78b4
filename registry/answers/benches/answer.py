"""How benches compare: offsets over everything measured, and rounds of reference units."""

from datetime import datetime
from typing import Any

import pandas as pd

from registry.alerts.readings import VACUUM, Readings, readings
from registry.answers import cautions
from registry.answers.anonymous import anonymous_code
from registry.answers.benches.rounds import reference_rounds
from registry.answers.benches.telling import told_benches
from registry.answers.stamp import chosen_edition, chosen_moment, stamp
from registry.answers.wording import counted, figure
from registry.models import Clinic, Gauge
from registry.statistics.benches import ENOUGH_OTHERS, ENOUGH_UNITS, Benches, Offset, bench_offsets
from registry.statistics.pairs import pair_table
from registry.statistics.scores import en_mark, en_scores, mark, z_prime_scores

# What benches are assessed by, relative; common practice, no published source: 4 % is what a bench gauge's
# class and yearly drift may come to together, and half of it is a standard deviation; clocks are better.
SIGMA = {"vacuum": 0.02, "cycle_rate": 0.01}
_METRICS = {"vacuum": VACUUM, "cycle_rate": ("cycle_rate",)}


def answer_benches(
    clinic: Clinic | None = None, *, edition: int | None = None, as_of: datetime | None = None
) -> dict[str, Any]:
    """Return the `benches` document: offsets of clinics in per cent, and all rounds.

    `benches` has a row a clinic and quantity (vacuum, cycle_rate): `offset_percent` with its 95 % interval
    from the robust mean of all, z' with how it is read, and E_n against what the gauges declare; `state` is
    `thin` below two units or two other benches, with what is `missing`, and then nothing is scored. `gauges`
    has the same for the gauges of the `clinic` that asks. `scatter_percent` is what benches differ by, a
    standard deviation. For `rounds` see `registry.answers.benches.rounds`. Who asks sees the own clinic by
    name and others by codes, which are others in each round.

    `edition` is the current one unless said; with `as_of`, a past time, the answer of then is made again.
    Raises Invalid on either.
    """
    number, moment = chosen_edition(edition), chosen_moment(as_of)
    stamped = stamp(number, moment)
    own = {clinic.pk: clinic.code} if clinic else {}
    seen = readings(edition=number, moment=moment)
    benches, gauges, scatter = _offsets(seen, own)
    rounds = reference_rounds(number, own, moment)
    return {
        "benches": benches,
        "gauges": gauges,
        "scatter_percent": scatter,
        "rounds": rounds,
        **stamped,
        "says": told_benches(benches, gauges, len(rounds), scatter["vacuum"], moment),
        "cautions": [*cautions.BENCHES, *cautions.again(moment)],
    }


def _offsets(
    seen: Readings, own: dict[int, str]
) -> tuple[list[dict[str, Any]], list[dict[str, Any]], dict[str, float | None]]:
    benches: list[dict[str, Any]] = []
    gauges: list[dict[str, Any]] = []
    scatter: dict[str, float | None] = {}
    names = dict(Gauge.objects.filter(clinic__in=own).values_list("pk", "code")) if own else {}
    for quantity, metrics in _METRICS.items():
        table = seen.of(metrics)
        pairs = pair_table(table) if len(table) else None
        found = Benches((), 0.0) if pairs is None else bench_offsets(pairs)
        scatter[quantity] = _percent(found.scatter) if found.offsets else None
        declared = _declared(pairs, "clinic")
        benches += [
            {
                "clinic": own.get(one.bench) or anonymous_code(one.bench, "benches"),
                "own": one.bench in own,
                **_scored(one, quantity, declared[one.bench]),
            }
            for one in found.offsets
        ]
        if names and pairs is not None:
            gauges += _of_gauges(pairs, names, quantity)
    return sorted(benches, key=_worst_first), gauges, scatter


def _of_gauges(pairs: pd.DataFrame, names: dict[int, str], quantity: str) -> list[dict[str, Any]]:
    """The clinic's own gauges, each against all others."""
    declared = _declared(pairs, "gauge")
    return [
        {"gauge": names[one.bench], **_scored(one, quantity, declared[one.bench], "gauge")}
        for one in bench_offsets(pairs, "gauge").offsets
        if one.bench in names
    ]


def _declared(pairs: pd.DataFrame | None, by: str) -> dict[int, float]:
    """Root mean square of the relative systematic uncertainty that each bench's gauges declare."""
    if pairs is None:
        return {}
    roots = (pairs["systematic"] ** 2).groupby(pairs[by]).mean() ** 0.5
    return dict(zip(roots.index.tolist(), roots.tolist(), strict=True))


def _scored(one: Offset, quantity: str, declared: float, bench: str = "clinic") -> dict[str, Any]:
    told = one.is_carried
    z = float(z_prime_scores(one.offset, 0.0, SIGMA[quantity], one.u)) if told else None
    en = float(en_scores(one.offset, 0.0, 2 * declared, 2 * one.u)) if told else None
    return {
        "quantity": quantity,
        "offset_percent": _percent(one.offset) if told else None,
        "low_percent": _percent(one.low) if told else None,
        "high_percent": _percent(one.high) if told else None,
        "declared_percent": _percent(declared),
        "z_prime": figure(z),
        "reads": mark(z) if z is not None else None,
        "en": figure(en),
        "en_reads": en_mark(en) if en is not None else None,
        "units": one.units,
        "builds": one.builds,
        "others": one.others,
        "state": "ok" if told else "thin",
        "missing": _missing(one, bench),
    }


def _missing(one: Offset, bench: str) -> str:
    """What is missing in words when thin, else nothing."""
    wanted = ((ENOUGH_UNITS - one.units, "more unit"), (ENOUGH_OTHERS - one.others, f"more {bench}"))
    return ", ".join(counted(lack, what) for lack, what in wanted if lack > 0)


def _percent(share: float) -> float:
    return round(100 * share, 2)


def _worst_first(row: dict[str, Any]) -> tuple[Any, ...]:
    return (row["quantity"] != "vacuum", -abs(row["z_prime"] or 0.0), row["clinic"])

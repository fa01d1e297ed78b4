"""Bands of common practice for the cycle rate, and whether a build still reaches them at its vacuum.

Common practice, no published source: at 70 cycles/min and above let-down comes on more reliably across
people, 60 to 70 usually serves, below 60 many do not respond. Bands to show, never rules to diagnose by.
"""

from collections.abc import Iterator, Mapping, Sequence
from operator import itemgetter
from typing import Any

from registry.answers.comparing.measured import BEHAVIOUR, Measured
from registry.answers.setting import AROUND, PLACE, order_around, order_of_mode
from registry.answers.wording import figure, natural

EDGES = (60.0, 70.0)
WANTED = 70.0
_BANDS = ("below 60", "60 to 70", "70 and above")
_LIKENESS = itemgetter("mode", *AROUND)


def band(rate: float) -> str:
    """The band a cycle rate lies in."""
    return _BANDS[sum(rate >= edge for edge in EDGES)]


def crossing(old: float, new: float, old_ends: tuple[float, float], new_ends: tuple[float, float]) -> Any:
    """The bands of both rates, the edges between them, and whether both intervals lie clear of them."""
    crossed = [edge for edge in EDGES if (old >= edge) != (new >= edge)]
    clear = all(
        all((end >= edge) == (centre >= edge) for end in ends)
        for edge in crossed
        for centre, ends in ((old, old_ends), (new, new_ends))
    )
    return {"old": band(old), "new": band(new), "crossed": crossed, "sure": bool(crossed) and clear}


def reach(
    old: Measured, new: Measured, vacuum_margin: float, labels: Mapping[int, str]
) -> list[dict[str, Any]]:
    """For each setting at which the old build makes 70 cycles/min: whether the new one does at that vacuum.

    `labels` are those of rigs. Settings come as a pump counts them.

    Only settings of the same mode, side, rig, power and band of elevation count, whatever their programme
    and level, and only those whose typical peak vacuum is within the margin. `with` names the fastest of
    them, None where there is none. Rates and vacuums are medians of unit means. `sure` says whether the 95 %
    interval of the new build's rate lies clear of 70 at all settings that count, by Student's t over unit
    means; below three units nothing is sure.
    """
    alike: dict[tuple[Any, ...], list[dict[str, Any]]] = {}
    for other in _behaviour(new):
        alike.setdefault(_LIKENESS(other), []).append(other)
    found = []
    for setting in _behaviour(old):
        if setting["rate"] < WANTED:
            continue
        near = [
            other
            for other in alike.get(_LIKENESS(setting), [])
            if abs(other["vacuum"] - setting["vacuum"]) <= vacuum_margin
        ]
        best = max(near, key=lambda other: other["rate"], default=None)
        reached = None if best is None else bool(best["rate"] >= WANTED)
        sure = reached is not None and _is_sure([best] if reached else near, reached=reached)
        shown = _shown(best, labels) if best else None
        found.append({**_shown(setting, labels), "reached": reached, "sure": sure, "with": shown})
    return sorted(found, key=_order)


def _is_sure(settings: Sequence[dict[str, Any] | None], *, reached: bool) -> bool:
    """Whether the rates lie clear of 70: above where it is reached, else below."""
    ends = [setting["ends"] for setting in settings if setting]
    return all(low >= WANTED if reached else high < WANTED for low, high in ends)


def _behaviour(side: Measured) -> Iterator[dict[str, Any]]:
    """Typical rate and peak vacuum at each setting that has both."""
    found: dict[tuple[Any, ...], dict[str, list[float]]] = {}
    for setting, of in side.behaving():
        found.setdefault(setting.place, {})[setting.metric] = of
    for key, by_metric in found.items():
        if len(by_metric) == len(BEHAVIOUR):
            named = dict(zip(PLACE, key, strict=True))
            (rate, *ends), (vacuum, *_) = (by_metric[metric] for metric in BEHAVIOUR)
            yield {**named, "rate": rate, "vacuum": vacuum, "ends": tuple(ends)}


def _order(row: Mapping[str, Any]) -> tuple[Any, ...]:
    at = order_of_mode(row["mode"]), natural(row["programme"]), natural(row["level"])
    return *at, *order_around(row)


def _shown(setting: Mapping[str, Any], labels: Mapping[int, str]) -> dict[str, Any]:
    named = {name: setting[name] for name in PLACE} | {"rig": labels[setting["rig"]]}
    return {**named, "rate": figure(setting["rate"]), "vacuum": figure(setting["vacuum"])}

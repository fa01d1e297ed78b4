"""Bands of common practice for the cycle rate, and whether a build still reaches them at its vacuum.

Common practice, no published source: at 70 cycles/min and above let-down comes on more reliably across
people, 60 to 70 usually serves, below 60 many do not respond. Bands to show, never rules to diagnose by.
"""

from collections.abc import Iterator, Sequence
from typing import Any

from registry.answers.blocks import Block, by_setting, typical
from registry.answers.wording import figure

EDGES = (60.0, 70.0)
WANTED = 70.0
_BANDS = ("below 60", "60 to 70", "70 and above")
_PLACE = ["mode", "side", "rig", "power"]
_SETTING = ["mode", "programme", "level", "side", "rig", "power"]
_BOTH = ("cycle_rate", "peak_vacuum")


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


def reach(old: Sequence[Block], new: Sequence[Block], vacuum_margin: float) -> list[dict[str, Any]]:
    """For each setting at which the old build makes 70 cycles/min: whether the new one does at that vacuum.

    Only settings of the same mode, side, rig and power count, whatever their programme and level, and only
    those whose typical peak vacuum is within the margin. `with` names the fastest of them, None where there
    is none. Rates and vacuums are medians of unit means.
    """
    before, after = (list(_behaviour(blocks)) for blocks in (old, new))
    found = []
    for setting in before:
        if setting["rate"] < WANTED:
            continue
        near = [
            other
            for other in after
            if all(other[name] == setting[name] for name in _PLACE)
            and abs(other["vacuum"] - setting["vacuum"]) <= vacuum_margin
        ]
        best = max(near, key=lambda other: other["rate"], default=None)
        reached = None if best is None else bool(best["rate"] >= WANTED)
        found.append({**_shown(setting), "reached": reached, "with": _shown(best) if best else None})
    return found


def _behaviour(blocks: Sequence[Block]) -> Iterator[dict[str, Any]]:
    """Typical rate and peak vacuum at each setting that has both."""
    found: dict[tuple[Any, ...], dict[str, float]] = {}
    for setting, of in by_setting(blocks).items():
        if setting.metric in _BOTH:
            found.setdefault(setting[: len(_SETTING)], {})[setting.metric] = typical(of)
    for key, by_metric in found.items():
        if len(by_metric) == len(_BOTH):
            named = dict(zip(_SETTING, key, strict=True))
            yield {**named, "rate": by_metric["cycle_rate"], "vacuum": by_metric["peak_vacuum"]}


def _shown(setting: dict[str, Any]) -> dict[str, Any]:
    named = {name: setting[name] for name in ("mode", "programme", "level", "power")}
    return {**named, "rate": figure(setting["rate"]), "vacuum": figure(setting["vacuum"])}

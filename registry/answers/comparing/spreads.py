"""What a fit takes for granted of how units and strata scatter, and what intervals hold, as cautions."""

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

from registry.statistics.equivalence import ALPHA, SAME

_ANOTHER = (
    "At some settings the difference is clearly not the same at all elevations; what is told is the weighted "
    "mean. Ask for one band to see it alone."
)
_WIDER = (
    "At some settings that are called the same, low to high reaches beyond the margin: that interval holds "
    "all differences of the answer together at 95 %. Same is judged for each setting alone, at 5 % error, by "
    "same_low to same_high, which lies within the margin."
)


class Scattered(NamedTuple):
    """How units of both sides scatter at one setting: whether clearly unlike, the variances between them, and
    how many units each side has."""

    unlike: bool
    between: tuple[float, float]
    units: tuple[int, int]


def of_scatter(found: Sequence[Scattered], names: tuple[str, str]) -> list[str]:
    """Cautions where units of one side clearly scatter more, and where few stand for a side."""
    wide = {names[int(one.between[1] > one.between[0])] for one in found if one.unlike}
    told = [
        f"Units of {name} clearly scatter more than those of the other side at some settings; there each "
        "side counts with its own scatter."
        for name in sorted(wide)
    ]
    for side, name in enumerate(names):
        few = {one.units[side] for one in found}
        if 1 in few and not name.startswith("unit "):
            told.append(
                f"One unit stands for {name} at some settings; it is taken to scatter as the others do."
            )
        if few & {2, 3}:
            told.append(
                f"Two or three units stand for {name} at some settings; their own scatter is hardly "
                "known, so that intervals there are wide. More units make them narrower soon."
            )
    return told


def of_strata(unlike: Sequence[float]) -> list[str]:
    """A caution where a difference is clearly not one and the same in all bands of elevation.

    `unlike` has the p-value of each setting that has several.
    """
    return [_ANOTHER] if any(p * len(unlike) <= ALPHA for p in unlike) else []


def of_intervals(settings: Sequence[Mapping[str, Any]]) -> list[str]:
    """A caution where what is called the same has an interval that would not seem to say so."""
    same = [row for row in settings if row["verdict"] == SAME]
    wider = any(max(-row["low"], row["high"]) > row["margin"] for row in same)
    return [_WIDER] if wider else []

"""What a fit takes for granted of how units and strata scatter, said as cautions."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from registry.statistics.differences import Fit
from registry.statistics.equivalence import ALPHA
from registry.statistics.strata import contrasts_of, unlike

_ANOTHER = (
    "At some settings the difference is clearly not the same at all elevations; what is told is the weighted "
    "mean. Ask for one band to see it alone."
)


@dataclass(frozen=True)
class Scattered:
    """A fit, a cell of either side, and how many units each side has."""

    fit: Fit | None
    cells: tuple[int, int]
    units: tuple[int, int]


def of_scatter(found: Sequence[Scattered], names: tuple[str, str]) -> list[str]:
    """Cautions where units of one side clearly scatter more, and where few stand for a side."""
    wide, fitted = set(), [one for one in found if one.fit is not None]
    for one in fitted:
        if one.fit and one.fit.spread.unlike:
            old, new = (one.fit.between_units(cell)[0] for cell in one.cells)
            wide.add(names[int(new > old)])
    told = [
        f"Units of {name} clearly scatter more than those of the other side at some settings; there each "
        "side counts with its own scatter."
        for name in sorted(wide)
    ]
    for side, name in enumerate(names):
        few = {one.units[side] for one in fitted}
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


def of_strata(fits: Iterable[Fit | None]) -> list[str]:
    """A caution where a difference is clearly not one and the same in all bands of elevation."""
    tested = [unlike(fit, contrasts_of(fit)) for fit in fits if fit is not None]
    told = [p for p in tested if p is not None]
    return [_ANOTHER] if any(p * len(told) <= ALPHA for p in told) else []

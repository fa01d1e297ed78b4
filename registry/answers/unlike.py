"""What differs between two sides besides what they are, said as cautions."""

from collections import defaultdict
from collections.abc import Sequence
from statistics import median

from registry.answers.blocks import Block, distinct
from registry.answers.packing import UNDECLARED
from registry.models import BenchSession

# The air is thinner by about 4 % over so many metres, which a pump's strongest vacuum shows.
_FAR_APART_M = 300.0
_SEA_LEVEL_KPA = 101.325


def unlike(old: Sequence[Block], new: Sequence[Block], names: tuple[str, str]) -> list[str]:
    """Cautions on clinics, gauges and elevation. At most one query."""
    clinics = [distinct(blocks, "clinic") for blocks in (old, new)]
    if not all(clinics):
        return []
    told = []
    both = clinics[0] & clinics[1]
    if not both:
        told.append(
            f"No clinic measured both {names[0]} and {names[1]}: what clinics and gauges differ by is part "
            "of the doubt in every difference."
        )
    elif UNDECLARED in distinct([*old, *new], "gauge"):
        told.append("Runs by a gauge nobody declared cannot serve as their clinic's own control.")
    return told + _by_elevation(clinics, names)


def elevation_m(ambient_kpa: float) -> float:
    """The elevation at which the standard atmosphere has that pressure (troposphere, ISO 2533)."""
    return float(44330.77 * (1 - (ambient_kpa / _SEA_LEVEL_KPA) ** 0.190263))


def _by_elevation(clinics: list[set[int]], names: tuple[str, str]) -> list[str]:
    """Clinics measured where they are, so the elevation of their sittings stands for that of their runs."""
    if clinics[0] == clinics[1]:
        return []
    known = _elevations(clinics[0] | clinics[1])
    heights = [[known[clinic] for clinic in side if clinic in known] for side in clinics]
    if not all(heights):
        return []
    old, new = (median(side) for side in heights)
    if abs(old - new) < _FAR_APART_M:
        return []
    where = f"{names[0]} was measured at about {old:.0f} m, {names[1]} at about {new:.0f} m"
    return [f"{where}: thin air lowers the strongest vacuum a pump can make."]


def _elevations(clinics: set[int]) -> dict[int, float]:
    rows = (
        BenchSession.objects.filter(clinic__in=clinics)
        .order_by()
        .values_list("clinic", "elevation_m", "ambient_kpa")
        .distinct()
    )
    found: dict[int, list[float]] = defaultdict(list)
    for clinic, metres, kpa in rows:
        if metres is not None:
            found[clinic].append(metres)
        elif kpa is not None:
            found[clinic].append(elevation_m(kpa))
    return {clinic: median(heights) for clinic, heights in found.items()}

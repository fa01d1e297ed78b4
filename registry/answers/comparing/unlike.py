"""What differs between two sides besides what they are, said as cautions."""

from collections import defaultdict
from collections.abc import Sequence
from datetime import datetime
from statistics import median

from django.apps import apps

from registry.answers.comparing.heights import Heights, heights_of
from registry.answers.comparing.measured import Measured
from registry.answers.comparing.sides import Side, Sides
from registry.models import PumpModel

# The air is thinner by about 4 % over so many metres, which a pump's strongest vacuum shows.
_FAR_APART_M = 300.0


def unlike(old: Measured, new: Measured, names: tuple[str, str], heights: Heights | None = None) -> list[str]:
    """Cautions on clinics, gauges and elevation. At most one query, and none where heights are known."""
    clinics = [side.all_clinics for side in (old, new)]
    if not all(clinics):
        return []
    told = []
    both = clinics[0] & clinics[1]
    if not both:
        told.append(
            f"No clinic measured both {names[0]} and {names[1]}: what clinics and gauges differ by is part "
            "of the doubt in every difference."
        )
    elif any(old.undeclared) or any(new.undeclared):
        told.append("Runs by a gauge nobody declared cannot serve as their clinic's own control.")
    return told + _by_elevation(old, new, names, heights)


def of_builds(sides: Sides, moment: datetime | None = None) -> list[str]:
    """The caution that builds differ as well, where firmware is compared: by the catalogue, in one query.

    At a past time by what the catalogue said then, in two. Of single units nothing is said.
    """
    both = (sides.old, sides.new)
    if all(side.firmware is None for side in both) or sides.of_units:
        return []
    listed = list(sides.pump_model.revisions.order_by("order").values_list("pk", "label", "firmware"))
    if moment is not None:
        then = _tags_at(sides.pump_model, moment)
        listed = [(pk, label, then[pk]) for pk, label, _ in listed if pk in then]
    builds = [[label for pk, label, tags in listed if _is_of(side, pk, tags)] for side in both]
    if builds[0] == builds[1]:
        return []
    known = " and ".join(filter(None, map(_comes_with, both, builds)))
    return [f"By the catalogue {known}: what builds differ by is part of every difference here."]


def _tags_at(pump_model: PumpModel, moment: datetime) -> dict[int, list[str]]:
    """The firmware tags of each revision there was at a past time."""
    events = apps.get_model("registry", "RevisionEvent").objects.filter(
        pump_model=pump_model, pgh_created_at__lte=moment
    )
    return dict(events.order_by("pgh_id").values_list("pgh_obj_id", "firmware"))


def _is_of(side: Side, revision: int, tags: Sequence[str]) -> bool:
    """Whether a revision is the side's; of a firmware, whether it is listed with it."""
    if side.firmware is None:
        return side.revision == revision
    return side.firmware.casefold() in (tag.casefold() for tag in tags)


def _comes_with(side: Side, labels: Sequence[str]) -> str:
    if side.firmware is None:
        return ""
    builds = f"revision{'s' if len(labels) > 1 else ''} {', '.join(labels)}" if labels else "no revision"
    return f"{side.name} comes with {builds}"


def _by_elevation(old: Measured, new: Measured, names: tuple[str, str], known: Heights | None) -> list[str]:
    """What is told of each band that both sides have; a band is wide, and settings do not part within it.

    Clinics measured where they are, so the elevation of their sittings stands for that of their runs.
    """
    clinics = [_by_band(side) for side in (old, new)]
    bands = [band for band in clinics[0] if band in clinics[1] and clinics[0][band] != clinics[1][band]]
    if not bands:
        return []
    if known is None:
        known = heights_of(bands, set().union(*(side[band] for side in clinics for band in bands)))
    told = []
    for band in bands:
        heights = [[known[band, one] for one in side[band] if (band, one) in known] for side in clinics]
        if all(heights):
            told += _told(median(heights[0]), median(heights[1]), names)
    return told


def _by_band(side: Measured) -> dict[str, set[int]]:
    """The clinics that measured in each band of elevation that somebody said."""
    found: dict[str, set[int]] = defaultdict(set)
    for setting, clinics in zip(side.settings, side.clinics, strict=True):
        if setting.elevation:
            found[setting.elevation] |= clinics
    return found


def _told(old: float, new: float, names: tuple[str, str]) -> list[str]:
    if abs(old - new) < _FAR_APART_M:
        return []
    where = f"{names[0]} was measured at about {old:.0f} m, {names[1]} at about {new:.0f} m"
    return [f"{where}: thin air lowers the strongest vacuum a pump can make."]

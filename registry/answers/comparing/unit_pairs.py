"""Contrasts between units and builds in the main metrics, made ahead as those between builds are."""

from collections.abc import Iterator, Sequence
from itertools import groupby
from operator import itemgetter

from registry.answers.blocks import of_units
from registry.answers.comparing.contrasts import contrasts_between
from registry.answers.comparing.contrasts_packed import pack
from registry.answers.comparing.groups import MAIN, group_of
from registry.answers.comparing.side_parts import Read, read_sides
from registry.answers.comparing.sides import Side, Sides
from registry.answers.keeping.parts import NOTHING, PartKind
from registry.answers.narrowing import Narrowed, narrowed
from registry.models import PumpModel, Revision, Unit

# A unit is held against its own build and so many next to it in order on either side, those a unit may be
# mistaken for. Each takes some 6 kB.
BESIDE = 1
# So many units of a model, those that came last: each takes a fit that grows with the units of the build.
MOST_UNITS = 1_000
# So many are made, and kept, at once: a quarter of a second's work with builds of usual size.
_AT_ONCE = 50
# Half a second's work of a usual model, and half a minute's of a large one, after every change of it.
_PATIENCE = 10.0


def is_turned(sides: Sides) -> bool:
    """Whether a unit is asked about after a revision."""
    return sides.old.is_revision and sides.new.serial is not None


def key_of(sides: Sides, asked: Narrowed) -> str | None:
    """What the part of a unit and a revision is called, in that order; None for other sides and metrics."""
    unit, build = sides.old.serial, sides.new.revision if sides.new.is_revision else None
    if unit is None or build is None or set(map(group_of, asked.metrics)) != {MAIN}:
        return None
    return _key(build, unit)


def _key(build: int, serial: str) -> str:
    return f"{build}:{serial}"


def _keys(model: int, edition: int) -> Iterator[str]:  # noqa: ARG001 - the same for all editions
    """Build by build of the units, and of what they are held against."""
    units = Unit.objects.filter(pump_model=model, revision__isnull=False).order_by("-pk")
    of_build: dict[int, list[str]] = {}
    for serial, revision in units.values_list("serial", "revision")[:MOST_UNITS]:
        of_build.setdefault(revision, []).append(serial)
    builds = list(
        Revision.objects.filter(pump_model=model).order_by("order", "pk").values_list("pk", flat=True)
    )
    for place, own in enumerate(builds):
        for build in builds[max(place - BESIDE, 0) : place + BESIDE + 1]:
            yield from (_key(build, serial) for serial in of_build.get(own, []))


def _make(model: int, edition: int, key: str) -> bytes:
    return next(_make_several(model, edition, [key]))


def _make_several(model: int, edition: int, keys: Sequence[str]) -> Iterator[bytes]:
    """All that each unit and its build differ by, at all settings, in each band and in all together.

    NOTHING of a unit that is not there any more.
    """
    wanted = [(int(build), serial) for build, _, serial in (key.partition(":") for key in keys)]
    units = Unit.objects.filter(pump_model=model, serial__in={serial for _, serial in wanted})
    known = {serial: (own, pk) for serial, own, pk in units.values_list("serial", "revision", "pk")}
    placed = [(*known.get(serial, (build, None)), build) for build, serial in wanted]
    for (own, build), some in groupby(placed, key=itemgetter(0, 2)):
        sides = (Side(f"revision {one}", revision=one) for one in (own, build))
        found = read_sides(Sides(PumpModel(pk=model), *sides), narrowed(edition))
        # Asked once, where they are not known.
        found = found._replace(known=found.labels)
        for _, unit, _ in some:
            yield NOTHING if unit is None else _made(found, unit)


def _made(found: Read, unit: int) -> bytes:
    """The part of a unit of one build and all others of the other one."""
    old = of_units(found.old, lambda units: units == unit)
    new = of_units(found.new, lambda units: units != unit)
    return pack(contrasts_between(old, new, found.labels, [unit], each_band=True))


UNITS = PartKind("units", _make, _keys, make_several=_make_several, at_once=_AT_ONCE, patience=_PATIENCE)

"""The settings and metrics a comparison is narrowed down to, and how much of a difference matters."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypedDict

from registry.answers.blocks import Block
from registry.answers.filters import (
    chosen_elevation,
    chosen_level,
    chosen_metric,
    chosen_mode,
    chosen_power,
    chosen_programme,
    is_programme,
    is_rig,
)
from registry.answers.setting import Setting
from registry.errors import Fault, Invalid
from registry.models import Rig
from registry.statistics.equivalence import Margin
from registry.waveform.editions import edition_of

# What a difference between builds is felt by; every further metric would widen the intervals of these.
MAIN_METRICS = ("cycle_rate", "peak_vacuum", "residual_vacuum")
RATE_MARGIN_PERCENT = 5.0
VACUUM_MARGIN_MMHG = 10.0
_RELATIVE = ("cycle_rate",)


@dataclass(frozen=True)
class Margins:
    """The least differences that matter: of a cycle rate in per cent, of a vacuum in mmHg."""

    rate_percent: float = RATE_MARGIN_PERCENT
    vacuum_mmhg: float = VACUUM_MARGIN_MMHG

    def of(self, metric: str, unit: str) -> Margin | None:
        """The margin of a metric, None where nobody has said how much of it matters."""
        if metric in _RELATIVE:
            return Margin(self.rate_percent / 100, relative=True)
        return Margin(self.vacuum_mmhg) if unit == "mmHg" else None

    def as_dict(self) -> dict[str, str]:
        """How they are told in a document."""
        return {"cycle_rate": f"{self.rate_percent:g} %", "vacuum": f"{self.vacuum_mmhg:g} mmHg"}


def chosen_margins(rate_percent: float | None, vacuum_mmhg: float | None) -> Margins:
    """Return the margins asked for, the usual ones where None. Raises Invalid unless above nought."""
    asked = {"rate_margin": rate_percent, "vacuum_margin": vacuum_mmhg}
    wrong = [field for field, value in asked.items() if value is not None and not 0 < value < 1000]
    if wrong:
        raise Invalid(
            "A margin is a number above nought",
            hint="Usual are 5 (per cent of the cycle rate) and 10 (mmHg).",
            faults=tuple(Fault("must be above nought and below 1000", field=field) for field in wrong),
        )
    usual = Margins()
    return Margins(rate_percent or usual.rate_percent, vacuum_mmhg or usual.vacuum_mmhg)


@dataclass(frozen=True)
class Narrowed:
    """`where` are filters on UnitSummary, `rig` what the rig's label or a part of it must be."""

    edition: int
    metrics: tuple[str, ...]
    where: dict[str, Any]
    rig: str | None = None

    def of_rig(self, blocks: Sequence[Block], labels: Mapping[int, str]) -> Sequence[Block]:
        """The summaries of the rig asked for."""
        return with_rig(blocks, self.rig, labels)

    @property
    def elevation(self) -> str | None:
        """The band asked for, None for all."""
        found: str | None = self.where.get("elevation")
        return found

    def chosen(self, labels: Mapping[int, str] | None = None) -> Callable[[Setting], bool]:
        """What tells whether a setting is one of those asked for, whatever its band of elevation.

        Without the labels of rigs, whatever its rig too. It raises CannotTell as `is_programme`.
        """
        named = _named(self.rig)
        of_any = labels is None or not named
        rigs = set() if of_any else {key for key, label in (labels or {}).items() if is_rig(label, named)}
        given = [(name, self.where[name]) for name in ("mode", "level", "power") if name in self.where]
        programme = self.where.get("programme__iexact")
        metrics = frozenset(self.metrics)
        if of_any and not given and programme is None:
            return lambda setting: setting.metric in metrics

        def one_of_them(setting: Setting) -> bool:
            return (
                setting.metric in metrics
                and (of_any or setting.rig in rigs)
                and all(getattr(setting, name) == value for name, value in given)
                and (programme is None or is_programme(setting.programme, programme))
            )

        return one_of_them


class Filters(TypedDict, total=False):
    """What a question narrows settings and metrics down to, as `narrowed` takes it."""

    mode: str | None
    level: str | int | None
    programme: str | None
    power: str | None
    elevation: str | None
    metric: str | None


def narrowed(  # noqa: PLR0913 - one parameter a filter
    edition: int,
    rig: str | None = None,
    /,
    *,
    mode: str | None = None,
    level: str | int | None = None,
    programme: str | None = None,
    power: str | None = None,
    elevation: str | None = None,
    metric: str | None = None,
) -> Narrowed:
    """Check the filters. `metric` is one metric, or `all`; the main ones without it. Raises Invalid."""
    if metric is not None and metric.strip().casefold() == "all":
        metrics = tuple(edition_of(edition).metrics)
    else:
        one = chosen_metric(metric, edition)
        metrics = (one,) if one else MAIN_METRICS
    given = {
        "mode": chosen_mode(mode),
        "level": chosen_level(level),
        "programme__iexact": chosen_programme(programme),
        "power": chosen_power(power),
        "elevation": chosen_elevation(elevation),
    }
    where = {name: value for name, value in given.items() if value is not None}
    return Narrowed(edition, metrics, {"edition": edition, "metric__in": metrics, **where}, rig)


def with_rig(blocks: Sequence[Block], rig: str | None, labels: Mapping[int, str]) -> Sequence[Block]:
    """The summaries of a rig named by its label or a part of it; all where none is named."""
    named = _named(rig)
    return [block for block in blocks if is_rig(labels[block.setting.rig], named)] if named else blocks


def _named(rig: str | None) -> str:
    return rig.strip() if rig else ""


def rig_labels(*several: Sequence[Block]) -> dict[int, str]:
    """The labels of all rigs in the summaries, by key: one query."""
    return labels_of({block.setting.rig for blocks in several for block in blocks})


def labels_of(rigs: Iterable[int]) -> dict[int, str]:
    """The labels of rigs by key: one query."""
    return {rig.pk: rig.label for rig in Rig.objects.filter(pk__in=set(rigs))}

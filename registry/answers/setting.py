"""What only like is compared with like in, and where it lies on a summary."""

from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Any, NamedTuple

from registry.answers.wording import natural
from registry.models import Elevation, Mode

# What a person sets, and what else has to be alike: both make a place, at which metrics are measured.
AT = ("mode", "programme", "level")
AROUND = ("side", "rig", "power", "elevation")
PLACE = (*AT, *AROUND)
_BANDS = {band: place for place, band in enumerate(Elevation.values)}
_MODES = {mode: place for place, mode in enumerate(Mode.values)}
# Between bands, where a row of a document stands for several.
BETWEEN = "; "


class Setting(NamedTuple):
    """One metric at one place; `rig` is a key, `elevation` a band, `unit` the metric's."""

    mode: str
    programme: str
    level: str
    side: str
    rig: int
    power: str
    elevation: str
    metric: str
    unit: str

    @property
    def at(self) -> tuple[Any, ...]:
        """What a person sets: mode, programme and level."""
        return self[: len(AT)]

    @property
    def around(self) -> tuple[Any, ...]:
        """What else has to be alike: side, rig, power and elevation."""
        return self[len(AT) : len(PLACE)]

    @property
    def place(self) -> tuple[Any, ...]:
        """All but the metric."""
        return self[: len(PLACE)]

    def named(self, labels: Mapping[int, str]) -> dict[str, Any]:
        """The setting as documents write it, given the labels of rigs."""
        return {**self._asdict(), "rig": labels[self.rig]}


# In the order of the fields; a table of summaries calls a metric's unit metric_unit, since it has units too.
OF_SUMMARY = MappingProxyType(
    {
        "mode": "mode",
        "programme": "programme",
        "level": "level",
        "side": "side",
        "rig_id": "rig",
        "power": "power",
        "elevation": "elevation",
        "metric": "metric",
        "metric_unit": "metric_unit",
    }
)


def setting_of(row: Mapping[str, Any]) -> Setting:
    """The setting of a row that is named as the columns of `summaries.summary_frame`."""
    return Setting(*(row[name] for name in OF_SUMMARY.values()))


def setting_order(row: Mapping[str, Any]) -> tuple[Any, ...]:
    """Sort key over rows of a document: setting by setting as a pump counts them, metric by metric there."""
    at = order_of_mode(row["mode"]), natural(row["programme"]), natural(row["level"])
    return *at, row["metric"], *order_around(row)


def order_around(row: Mapping[str, Any]) -> tuple[Any, ...]:
    """Sort key over what a row of a document was measured with."""
    first = row["elevation"].split(BETWEEN)[0]
    return row["rig"], row["power"], order_of_band(first), row["side"]


def order_of_mode(mode: str) -> int:
    """Stimulation first, as a pump begins."""
    return _MODES[mode]


def order_of_band(band: str) -> int:
    """The lowest first, what nobody said last."""
    return _BANDS[band]


def told_bands(bands: Sequence[str]) -> str:
    """The bands a row stands for, in one text; a single one as it is stored."""
    return bands[0] if len(bands) == 1 else BETWEEN.join(band or Elevation.UNKNOWN.label for band in bands)

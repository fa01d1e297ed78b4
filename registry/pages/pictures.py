"""A picture of an alert's evidence: how far each reading lies from what others read, in per cent.

Drawn as SVG inside the page: no file to fetch, sharp on screen and paper, and its text can be read out.
Colours come from the style sheet; nothing is told by colour alone.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from registry.pages.words import plain

MOST: Final = 24
_WIDTH, _ROW, _TOP, _LEFT, _RIGHT = 420, 24, 10, 132, 22
_LONGEST_LABEL = 17
_APART = ("percent", "shift_percent", "apart_percent", "change_percent")
_NAMES = ("serial", "unit", "gauge", "clinic", "metric")
_STEPS = (0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500)


@dataclass(frozen=True)
class Mark:
    """A reading: its name, how far off it lies in per cent, and between what it may lie."""

    name: str
    at: float
    low: float | None = None
    high: float | None = None


def picture(evidence: Mapping[str, Any]) -> SafeString | None:
    """Return the picture of what evidence holds in per cent, None where there is nothing to draw."""
    marks = list(marks_of(evidence))[:MOST]
    return _drawn(marks) if marks else None


def marks_of(evidence: Mapping[str, Any]) -> Iterator[Mark]:
    """Yield the whole first, then its parts: groups by name, or readings in a list."""
    whole = _mark("all together", evidence)
    if whole:
        yield whole
    for key, value in evidence.items():
        for name, record in _records(key, value):
            found = _mark(name, record)
            if found:
                yield found


def _records(key: str, value: Any) -> Iterable[tuple[str, Mapping[str, Any]]]:
    if isinstance(value, Mapping):
        return [(plain(str(name)), inner) for name, inner in value.items() if isinstance(inner, Mapping)]
    if isinstance(value, list):
        return [(_name(inner) or plain(key), inner) for inner in value if isinstance(inner, Mapping)]
    return []


def _name(record: Mapping[str, Any]) -> str:
    return next((str(record[key]) for key in _NAMES if record.get(key)), "")


def _mark(name: str, record: Mapping[str, Any]) -> Mark | None:
    at = next((record[key] for key in _APART if _is_number(record.get(key))), None)
    if at is None:
        return None
    low, high = record.get("low_percent"), record.get("high_percent")
    both = _is_number(low) and _is_number(high)
    return Mark(name, float(at), float(low) if both else None, float(high) if both else None)  # type: ignore[arg-type]


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e6


def _drawn(marks: Sequence[Mark]) -> SafeString:
    ends = [end for m in marks for end in (m.at, m.low, m.high) if end is not None]
    scale = _Scale(min(0.0, *ends), max(0.0, *ends))
    bottom = _TOP + _ROW * len(marks)
    described = "; ".join(f"{m.name} {m.at:+.3g} %" for m in marks)
    return format_html(
        '<svg class="picture" viewBox="0 0 {} {}" role="img" aria-labelledby="picture-title picture-what">'
        '<title id="picture-title">How far off, in per cent</title>'
        '<desc id="picture-what">{}</desc>{}{}</svg>',
        _WIDTH,
        bottom + 34,
        described,
        format_html_join("", "<g>{}</g>", ((tick,) for tick in scale.ticks(bottom))),
        format_html_join("", "<g>{}</g>", ((_row(m, i, scale),) for i, m in enumerate(marks))),
    )


class _Scale:
    """Places per cent on the width of the picture."""

    def __init__(self, low: float, high: float) -> None:
        margin = 0.06 * (high - low) or 1.0
        self.low, self.high = low - margin, high + margin

    def x(self, percent: float) -> float:
        share = (percent - self.low) / (self.high - self.low)
        return round(_LEFT + share * (_WIDTH - _LEFT - _RIGHT), 1)

    def ticks(self, bottom: float) -> Iterator[SafeString]:
        step = next((s for s in _STEPS if (self.high - self.low) / s <= 5), 10 * _STEPS[-1])
        first = int(self.low // step) + 1
        for number in range(first, int(self.high // step) + 1):
            x = self.x(number * step)
            told = f"{number * step:+g}" if number else "0"
            yield format_html(
                '<line class="{}" x1="{x}" x2="{x}" y1="{}" y2="{}"/>'
                '<text class="tick" x="{x}" y="{}" text-anchor="middle">{} %</text>',
                "grid" if number else "zero",
                _TOP,
                bottom,
                bottom + 20,
                told,
                x=x,
            )


def _row(mark: Mark, index: int, scale: _Scale) -> SafeString:
    y = _TOP + _ROW * (index + 0.5)
    name = mark.name if len(mark.name) <= _LONGEST_LABEL else mark.name[: _LONGEST_LABEL - 1] + "…"
    reach = SafeString()
    if mark.low is not None and mark.high is not None:
        reach = format_html(
            '<line class="reach" x1="{}" x2="{}" y1="{}" y2="{}"/>',
            scale.x(mark.low),
            scale.x(mark.high),
            y,
            y,
        )
    return format_html(
        '<text x="{}" y="{}" text-anchor="end">{}</text>{}<circle class="mark" cx="{}" cy="{}" r="5"/>',
        _LEFT - 14,
        y + 4,
        name,
        reach,
        scale.x(mark.at),
        y,
    )

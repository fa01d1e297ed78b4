"""Times of day as loggers write them, to seconds."""

import io
import re
from dataclasses import dataclass

import numpy as np
import pandas as pd

from registry.waveform.types import Floats, ReadError

from .forms import of_one_form
from .table import Stamps, Table

_ISO = re.compile(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d|\d{8}T\d{6}")
_HALF_DAY = re.compile(r"[AaPp]\.?[Mm]")
_ZONE = re.compile(r"\s*(?:UTC|Z|[+-]\d\d(?::?\d\d)?)$")
_THOUSANDTHS = re.compile(r":\d\d:\d\d:\d{3}$")


@dataclass(frozen=True, eq=False)
class Raw:
    """Times as written: seconds from the first, and that first one on the file's own clock."""

    seconds: Floats
    origin_s: float
    unit: str
    kind: str
    started: str | None = None


def bad_time(shown: str, table: Table, row: int) -> ReadError:
    """The refusal of a cell that is no time like the others."""
    return ReadError(
        "bad_time",
        f"The time cell holds {shown[:40]}, which is no time like the others.",
        table.line_of(row),
        "Correct or remove that line.",
    )


def from_stamps(stamps: Stamps, table: Table) -> Raw:
    """Clock times, with the start as it is written. ReadError: bad_time."""
    first = stamps.word(0)
    quick = of_one_form(stamps)
    if quick is not None:
        return Raw(
            quick.seconds, quick.origin_s, quick.unit, "clock", first if quick.unit != "mm:ss" else None
        )
    texts = stamps.words()
    return _from_iso(texts, table) if _ISO.match(first) else _from_clock(texts, table)


def _from_iso(texts: list[str], table: Table) -> Raw:
    first = texts[0]
    points = [text.replace(",", ".") for text in texts] if "," in first else texts
    if first.endswith("UTC"):
        points = [text.removesuffix("UTC").rstrip() for text in points]
    stamps = pd.to_datetime(pd.Series(points), format="ISO8601", utc=True, errors="coerce")
    bad = np.flatnonzero(stamps.isna().to_numpy())
    if bad.size:
        raise bad_time(repr(texts[int(bad[0])]), table, int(bad[0]))
    whole = stamps.to_numpy(dtype="datetime64[ns]").astype(np.int64)
    return Raw((whole - whole[0]) * 1e-9, float(whole[0]) * 1e-9, "ISO 8601", "clock", first)


def _from_clock(texts: list[str], table: Table) -> Raw:
    """Times of day, which start again at midnight, at noon, or with the hour."""
    first = texts[0]
    seconds, unit = _colon_times(texts, table)
    lap = 3600.0 if unit == "mm:ss" else 43200.0 if _HALF_DAY.search(first) else 86400.0
    turns = np.cumsum(np.diff(seconds, prepend=seconds[0]) < -0.9 * lap)
    seconds = seconds + lap * turns
    started = first if unit == "hh:mm:ss" else None
    return Raw(seconds - seconds[0], float(seconds[0]), unit, "clock", started)


def _bare(texts: list[str]) -> list[str]:
    """Clock times alone: without date, half of the day and zone, thousandths after a point."""
    first = texts[0]
    if _ZONE.search(first):
        texts = [_ZONE.sub("", text) for text in texts]
    if " " in first or "T" in first:
        texts = [_HALF_DAY.sub("", text).strip().replace("T", " ").rpartition(" ")[2] for text in texts]
    if _THOUSANDTHS.search(texts[0]):
        texts = [".".join(text.rsplit(":", 1)) for text in texts]
    return texts


def _colon_times(texts: list[str], table: Table) -> tuple[Floats, str]:
    """(seconds, form) of mm:ss or hh:mm:ss."""
    texts = _bare(texts)
    fields = texts[0].count(":") + 1
    blob = "\n".join(texts).replace(",", ".").replace(":", ",")
    try:
        frame = pd.read_csv(io.StringIO(blob), header=None, names=range(4), dtype=np.float64, index_col=False)
    except (ValueError, pd.errors.ParserError):
        frame = None
    if frame is None or len(frame) != len(texts) or fields not in {2, 3}:
        row = next((i for i, text in enumerate(texts) if not re.fullmatch(r"[\d:.,]+", text)), 0)
        raise bad_time(repr(texts[row]), table, row)
    parts = frame.to_numpy()
    wrong = ~np.isfinite(parts[:, :fields]).all(axis=1) | np.isfinite(parts[:, fields])
    if wrong.any():
        row = int(np.argmax(wrong))
        raise bad_time(repr(texts[row]), table, row)
    weights = np.array([3600.0, 60.0, 1.0][3 - fields :])
    return np.einsum("ij,j->i", parts[:, :fields], weights), "mm:ss" if fields == 2 else "hh:mm:ss"

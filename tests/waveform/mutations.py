"""Files damaged at random, and things said of them at random: what a cut line, a bad disk, an editor or a
stranger may make of a trace."""

import gzip
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from registry.waveform import Declared, Measured, channels_of, measure, measure_sides

from .dialects import DIALECTS
from .files import write
from .truth import Bench, Pump, record

WORDS = (
    b"OL", b">>>", b"", b"nan", b"inf", b"-", b"1e999", b"-1e-400", b"0x10", b"1_000", b"\xff", b"\x00", b'"',
    b"'", b"10:00:00", b"2026-03-04", b"2026-13-45T99:99:99", b"99:99:99", b"abc", b"#", b";;;;",
    b"\xe2\x88\x92", b"Left (kPa)", b"right", b"----", b"####", b"-OVER", b"20260304T100000", b"1e-5", b"+.5",
    b"9" * 400, b"1,5", b"1.2.3", b"::", b"\r", b"\r\r\n", b"\n\n\n", b"\t", b" ", b"(kPa)", b"Vacuum (mmHg)",
)  # fmt: skip

Mutation = Callable[[bytes, np.random.Generator], bytes]


def _place(data: bytes, rng: np.random.Generator) -> int:
    """A random place, as often in the first lines as in all the rest."""
    size = len(data) if rng.random() < 0.5 else min(len(data), 300)
    return int(rng.integers(0, size + 1))


def _flip(data: bytes, rng: np.random.Generator) -> bytes:
    if not data:
        return data
    changed = bytearray(data)
    for _ in range(int(rng.integers(1, 6))):
        changed[min(_place(data, rng), len(data) - 1)] = int(rng.integers(0, 256))
    return bytes(changed)


def _insert(data: bytes, rng: np.random.Generator) -> bytes:
    at = _place(data, rng)
    return data[:at] + WORDS[int(rng.integers(len(WORDS)))] + data[at:]


def _cut(data: bytes, rng: np.random.Generator) -> bytes:
    one, two = sorted((_place(data, rng), _place(data, rng)))
    return data[:one] + data[two:]


def _repeat(data: bytes, rng: np.random.Generator) -> bytes:
    one, two = sorted((_place(data, rng), _place(data, rng)))
    return data[:two] + data[one:two] + data[two:]


def _swap(data: bytes, rng: np.random.Generator) -> bytes:
    pairs = (
        (b",", b";"),
        (b".", b","),
        (b"\n", b"\r"),
        (b",", b" "),
        (b"0", b"O"),
        (b"\n", b"\n\n"),
        (b",", b",,"),
    )
    old, new = pairs[int(rng.integers(len(pairs)))]
    return data.replace(old, new, int(rng.choice([1, 3, -1])))


def _line(data: bytes, rng: np.random.Generator) -> bytes:
    lines = data.split(b"\n")
    at = int(rng.integers(len(lines)))
    act = int(rng.integers(4))
    if act == 0:
        lines[at] = WORDS[int(rng.integers(len(WORDS)))]
    elif act == 1:
        lines.insert(
            at, b",".join(WORDS[int(k)] for k in rng.integers(0, len(WORDS), int(rng.integers(1, 6))))
        )
    elif act == 2:
        del lines[at]
    else:
        lines[at], lines[0] = lines[0], lines[at]
    return b"\n".join(lines)


def _pack(data: bytes, rng: np.random.Generator) -> bytes:
    packed = gzip.compress(data, mtime=0)
    return packed if rng.random() < 0.7 else _flip(packed, rng)


MUTATIONS: tuple[Mutation, ...] = (_flip, _insert, _cut, _repeat, _swap, _line, _pack)


@dataclass(frozen=True)
class Sent:
    """A file, and what is said of it."""

    data: bytes
    declared: Declared
    usual: Declared


def seeds() -> list[Sent]:
    """Short sound files in every dialect, with what has to be said of them."""
    trace = record(Pump(), Bench(seconds=6, rate_hz=25, start_phase=0.5), np.random.default_rng(2))
    seconds = trace.seconds - trace.seconds[0]
    return [
        Sent(write(seconds, trace.vacuum, dialect), dialect.declared, dialect.usual)
        for dialect in DIALECTS.values()
    ]


def mutated(sound: list[Sent], rng: np.random.Generator) -> Sent:
    """One of the sound files after one to three mutations; in one case of three something else is said."""
    seed = sound[int(rng.integers(len(sound)))]
    data = seed.data
    for _ in range(int(rng.integers(1, 4))):
        data = MUTATIONS[int(rng.integers(len(MUTATIONS)))](data, rng)
    if rng.random() < 1 / 3:
        return Sent(data[:200_000], something_said(rng), something_said(rng))
    return Sent(data[:200_000], seed.declared, seed.usual)


NAMES = ("1", "2", "3", "4", "0", "-1", "99999999", "vacuum", "Left", "Pressure (mmHg)", "", "µ", "\x00")
UNITS = ("mmHg", "kPa", "mbar abs", "", "furlong")
TIME_UNITS = ("ms", "s", "d", "", "mmHg")
RATES = (25.0, 25.0, 0.0, -1.0, 1e-300, 1e300, float("nan"), float("inf"))
SIGNS = ("positive", "negative", "absolute", "", "+")
SIDES = ("single", "left", "right", "both")
ZEROS = (0.0, -5.0, 760.0)
CHOICES = (ZEROS, RATES, UNITS, TIME_UNITS, NAMES, NAMES, SIGNS, SIDES)


def something_said(rng: np.random.Generator) -> Declared:
    """A declaration, sound or not, mostly of nothing or of one thing."""
    said = [choices[int(rng.integers(len(choices)))] if rng.random() < 0.1 else None for choices in CHOICES]
    return Declared(*said)


def measured_somehow(sent: Sent, rng: np.random.Generator) -> Measured:
    """Measure a file one way or the other. ReadError as these."""
    if rng.random() < 0.1:
        channels_of(sent.data, sent.declared, sent.usual)
        return measure_sides(sent.data, declared=sent.declared, usual=sent.usual).right
    measured = measure(sent.data, declared=sent.declared, usual=sent.usual)
    measured.understood.as_usual()
    return measured

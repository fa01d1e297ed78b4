"""Files damaged at random: what a cut line, a bad disk, an editor or a stranger may make of a trace."""

import gzip
from collections.abc import Callable

import numpy as np

from .dialects import DIALECTS
from .files import write
from .truth import Bench, Pump, record

WORDS = (
    b"OL", b">>>", b"", b"nan", b"inf", b"-", b"1e999", b"-1e-400", b"0x10", b"1_000", b"\xff", b"\x00", b'"',
    b"'", b"10:00:00", b"2026-03-04", b"2026-13-45T99:99:99", b"99:99:99", b"abc", b"#", b";;;;",
    b"\xe2\x88\x92",
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


def seeds() -> list[bytes]:
    """Short sound files in every dialect."""
    trace = record(Pump(), Bench(seconds=6, rate_hz=25, start_phase=0.5), np.random.default_rng(2))
    return [write(trace.seconds - trace.seconds[0], trace.vacuum, dialect) for dialect in DIALECTS.values()]


def mutated(sound: list[bytes], rng: np.random.Generator) -> bytes:
    """One of the sound files after one to three mutations."""
    data = sound[int(rng.integers(len(sound)))]
    for _ in range(int(rng.integers(1, 4))):
        data = MUTATIONS[int(rng.integers(len(MUTATIONS)))](data, rng)
    return data[:200_000]

"""What is ahead at a pump model's places, packed: a head in JSON and numbers as they lie in memory."""

import json
from dataclasses import fields
from typing import Any

import numpy as np

from registry.answers.matching.ahead import ALIKE, Ahead
from registry.answers.matching.leaning import Leaning
from registry.answers.places import Named, Place

_LEANING = tuple(of.name for of in fields(Leaning))


def packed(ahead: Ahead) -> bytes:
    """Return the bytes that `unpacked` reads; summaries are left out."""
    links = sorted(ahead.links)
    arrays: dict[str, Any] = {
        "figures": ahead.figures,
        "together": ahead.together,
        "counts": ahead.counts,
        "linked": np.array(links, np.int64).reshape(-1, 2),
        "links": np.array([ahead.links[pair] for pair in links], float).reshape(len(links), len(ALIKE), 3),
        **{name: getattr(ahead.leaning, name) for name in _LEANING},
    }
    head = {
        "places": [[*named.place, named.model, named.revision, named.rig] for named in ahead.places],
        "metrics": ahead.metrics,
        "arrays": [[name, of.dtype.str, of.shape] for name, of in arrays.items()],
    }
    written = json.dumps(head, separators=(",", ":"), ensure_ascii=False).encode()
    # Arrays begin where numbers of eight bytes may lie.
    written += b" " * (-len(written) % 8)
    body = b"".join(_filled(np.ascontiguousarray(of).tobytes()) for of in arrays.values())
    return len(written).to_bytes(8, "little") + written + body


def unpacked(body: bytes) -> Ahead:
    """Read what `packed` wrote; arrays are views of it."""
    size = int.from_bytes(body[:8], "little")
    head = json.loads(body[8 : 8 + size])
    arrays, start = {}, 8 + size
    for name, form, shape in head["arrays"]:
        kind = np.dtype(form)
        number = int(np.prod(shape))
        arrays[name] = np.frombuffer(body, kind, number, start).reshape(shape)
        start += -(-number * kind.itemsize // 8) * 8
    links = zip(map(tuple, arrays["linked"].tolist()), arrays["links"], strict=True)
    return Ahead(
        tuple(Named(Place(*of[:-3]), *of[-3:]) for of in head["places"]),
        tuple(head["metrics"]),
        arrays["figures"],
        arrays["together"],
        arrays["counts"],
        Leaning(*(arrays[name] for name in _LEANING)),
        dict(links),
    )


def _filled(numbers: bytes) -> bytes:
    return numbers + b"\0" * (-len(numbers) % 8)

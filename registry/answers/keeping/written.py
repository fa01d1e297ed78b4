"""Answers as JSON text, of which some may have been written, and compressed, before."""

import gzip
import json
from collections.abc import Mapping
from typing import Any

import numpy as np
import orjson

from registry.answers.keeping.deflated import LEVEL, Deflated, deflated, gzipped

_COMMA = deflated(b",")


class Texts(list[bytes]):
    """The items of a list, each as JSON text."""


class Pieces(list[Deflated]):
    """The items of a list as JSON texts, some at a time with commas between, each compressed."""


def compressed(document: Mapping[str, Any]) -> bytes:
    """The document as gzipped JSON; what is compressed already is not compressed again."""
    if not any(isinstance(value, Pieces) for value in document.values()):
        return gzip.compress(text_of(document), LEVEL, mtime=0)
    pieces: list[Deflated | bytes] = []
    text = b"{"
    for name, value in document.items():
        text += written(name) + b":"
        if isinstance(value, Pieces):
            pieces.append(text + b"[")
            pieces += [one for piece in value for one in (piece, _COMMA)][:-1]
            text = b"],"
        else:
            text += _member(value) + b","
    return gzipped([*pieces, text[:-1] + b"}"])


def text_of(document: Mapping[str, Any]) -> bytes:
    """The document as JSON text. What is written already is put in as it is."""
    if not any(isinstance(value, Texts | Pieces) for value in document.values()):
        return written(document)
    members = (written(name) + b":" + _member(value) for name, value in document.items())
    return b"{" + b",".join(members) + b"}"


def plain(document: Mapping[str, Any]) -> dict[str, Any]:
    """The document with nothing in it but numbers, texts, lists and mappings."""
    return {
        name: json.loads(_member(value)) if isinstance(value, Texts | Pieces) else value
        for name, value in document.items()
    }


def written(value: Any) -> bytes:
    """JSON text of anything an answer holds: times as ISO 8601, numbers and arrays of numpy as those of JSON.

    What is no number (NaN, infinity) is null, as all that is not known; no answer should come to that.
    """
    return orjson.dumps(value, default=_as_json, option=orjson.OPT_SERIALIZE_NUMPY)


def _member(value: Any) -> bytes:
    if isinstance(value, Pieces):
        return b"[" + b",".join(piece.text for piece in value) + b"]"
    return b"[" + b",".join(value) + b"]" if isinstance(value, Texts) else written(value)


def _as_json(value: Any) -> Any:
    """Named tuples, and arrays that do not lie in one piece, as lists."""
    return value.tolist() if isinstance(value, np.ndarray | np.generic) else list(value)

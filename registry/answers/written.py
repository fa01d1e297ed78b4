"""Answers as JSON text, of which some may have been written before."""

import json
from collections.abc import Mapping
from datetime import date
from typing import Any


class Texts(list[bytes]):
    """The items of a list, each as JSON text."""


def text_of(document: Mapping[str, Any]) -> bytes:
    """The document as it is sent. What is written already is put in as it is, where a member is `Texts`."""
    members = (written(name) + b":" + _member(value) for name, value in document.items())
    return b"{" + b",".join(members) + b"}"


def plain(document: Mapping[str, Any]) -> dict[str, Any]:
    """The document with nothing in it but numbers, texts, lists and mappings."""
    return {
        name: [json.loads(text) for text in value] if isinstance(value, Texts) else value
        for name, value in document.items()
    }


def written(value: Any) -> bytes:
    """JSON text of anything an answer holds."""
    return json.dumps(
        value, ensure_ascii=False, separators=(",", ":"), allow_nan=False, default=_as_json
    ).encode()


def _member(value: Any) -> bytes:
    return b"[" + b",".join(value) + b"]" if isinstance(value, Texts) else written(value)


def _as_json(value: Any) -> Any:
    """Times as ISO 8601, numbers and arrays of numpy as those of JSON."""
    if isinstance(value, date):
        return value.isoformat()
    return value.tolist()

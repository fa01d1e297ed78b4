"""Read what an upload form holds: the trace's bytes and the provenance object."""

import json
from typing import Any

from django.conf import settings
from django.core.files.uploadedfile import UploadedFile
from rest_framework.request import Request

from registry.errors import Fault, Invalid, TooLarge


def trace_bytes(request: Request) -> bytes:
    """Return the bytes of the form's `trace` file. Raises Invalid without one, TooLarge beyond the limit."""
    files = request.FILES.getlist("trace")
    if len(files) != 1:
        raise Invalid(
            "trace: send one file",
            hint="Send the logger's file as the form field 'trace'.",
            faults=(Fault("send one file", field="trace"),),
        )
    if (files[0].size or 0) > settings.VACUARY_TRACE_LIMIT:
        raise TooLarge(
            f"The trace has {files[0].size} bytes; at most {settings.VACUARY_TRACE_LIMIT} are taken",
            hint="Cut the recording, or log at a lower rate: 100 Hz serves all pumps.",
            faults=(Fault("too large", field="trace"),),
        )
    return bytes(files[0].read())


def provenance_object(request: Request, *, needed: bool) -> dict[str, Any]:
    """Return the form's `provenance` as a dictionary. Raises Invalid when it is no JSON object."""
    said = request.POST.get("provenance") or request.FILES.get("provenance")
    if isinstance(said, UploadedFile):
        said = _decoded(said)
    if said in (None, "") and not needed:
        return {}
    try:
        parsed = json.loads(said or "", parse_constant=_no_constant)
    except (ValueError, RecursionError) as error:
        raise _not_an_object(f"is not JSON: {error}") from error
    if not isinstance(parsed, dict):
        raise _not_an_object("must be a JSON object of provenance keys")
    return parsed


def _decoded(file: "UploadedFile[bytes]") -> str:
    """Some clients send the JSON part as a file of its own."""
    try:
        return bytes(file.read(64 * 1024)).decode()
    except UnicodeDecodeError as error:
        raise _not_an_object("is not UTF-8 text") from error


def _no_constant(name: str) -> None:
    raise ValueError(f"{name} is not a number of JSON")


def _not_an_object(message: str) -> Invalid:
    return Invalid(
        f"provenance: {message}",
        hint='Send an object as in {"pump_model": "..", "serial": "..", "mode": "expression", "level": 3}.',
        faults=(Fault(message, field="provenance"),),
    )

"""Read what an upload form holds: the trace's bytes and the provenance object. Nothing else may be in it."""

from typing import Any

from django.conf import settings
from django.core.files.uploadedfile import UploadedFile
from rest_framework.request import Request

from api.jsontext import parse
from registry.errors import Fault, Invalid, TooLarge

PROVENANCE_LIMIT = 64 * 1024
_FIELDS = ("trace", "provenance")


def read_form(request: Request, *, needs_provenance: bool) -> tuple[bytes, dict[str, Any]]:
    """Return the trace's bytes and the provenance; without `needs_provenance` that may be absent (empty).

    Raises Invalid naming every form field at fault, TooLarge beyond a limit.
    """
    _check_fields(request)
    said = _provenance(request, needed=needs_provenance)
    return _trace(request), said


def _check_fields(request: Request) -> None:
    """A field nobody reads could carry anything, and of a field that comes twice one would be dropped."""
    counts = {name: len(request.POST.getlist(name)) for name in request.POST}
    for name in request.FILES:
        counts[name] = counts.get(name, 0) + len(request.FILES.getlist(name))
    faults = [Fault("unknown form field", field=name) for name in sorted(set(counts) - set(_FIELDS))]
    faults += [Fault("comes more than once", field=name) for name in _FIELDS if counts.get(name, 0) > 1]
    if faults:
        raise Invalid(
            "; ".join(f"{fault.field}: {fault.message}" for fault in faults),
            hint="The form takes one 'trace' and one 'provenance'. Nothing about a client may enter.",
            faults=tuple(faults),
        )


def _trace(request: Request) -> bytes:
    file = request.FILES.get("trace")
    if file is None:
        raise Invalid(
            "trace: is needed, as a file",
            hint="Send the logger's file as the form field 'trace'.",
            faults=(Fault("is needed, as a file", field="trace"),),
        )
    if (file.size or 0) > settings.VACUARY_TRACE_LIMIT:
        raise TooLarge(
            f"The trace has {file.size} bytes; at most {settings.VACUARY_TRACE_LIMIT} are taken",
            hint="Cut the recording, or log at a lower rate: 100 Hz serves all pumps.",
            faults=(Fault("too large", field="trace"),),
        )
    return bytes(file.read())


def _provenance(request: Request, *, needed: bool) -> dict[str, Any]:
    said = request.POST.get("provenance") or request.FILES.get("provenance")
    size = said.size or 0 if isinstance(said, UploadedFile) else len(said or "")
    if size > PROVENANCE_LIMIT:
        raise TooLarge(
            f"The provenance is larger than {PROVENANCE_LIMIT // 1024} KiB",
            hint="Send the provenance keys only; a remark goes into 'note', in up to 500 characters.",
            faults=(Fault("too large", field="provenance"),),
        )
    text = _decoded(said) if isinstance(said, UploadedFile) else said or ""
    if not text and not needed:
        return {}
    try:
        parsed = parse(text)
    except ValueError as error:
        raise _not_an_object(f"is not JSON that can be taken: {error}") from error
    if not isinstance(parsed, dict):
        raise _not_an_object("must be a JSON object of provenance keys")
    return parsed


def _decoded(file: "UploadedFile[bytes]") -> str:
    """Some clients send the JSON part as a file of its own."""
    try:
        return bytes(file.read()).decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise _not_an_object("is not UTF-8 text") from error


def _not_an_object(message: str) -> Invalid:
    return Invalid(
        f"provenance: {message}",
        hint='Send an object as in {"pump_model": "..", "serial": "..", "mode": "expression", "level": 3}.',
        faults=(Fault(message, field="provenance"),),
    )

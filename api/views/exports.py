"""Tables to take along, as files."""

import base64
import hashlib
import re
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from threading import BoundedSemaphore
from typing import Any

from django.conf import settings
from django.http import FileResponse, HttpResponse
from django.http.response import HttpResponseBase
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse, extend_schema
from rest_framework.negotiation import BaseContentNegotiation
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import Serializer

from api.queries import StrictQuery
from api.serializers.exports import (
    QUERIES,
    DictionaryDocument,
    DictionaryQuery,
    ExportQuery,
    FileQuery,
)
from registry.answers.exports.build import Export, build
from registry.answers.exports.dictionary import about, dictionary_csv
from registry.answers.exports.tables import TABLES
from registry.answers.stamp import chosen_edition
from registry.errors import TooManyRequests

CSV = "text/csv; charset=utf-8; header=present"
MEDIA = {"csv": CSV, "parquet": "application/vnd.apache.parquet"}
# Half the threads of a web process: whoever fetches a long file on a slow line must not keep others waiting.
AT_ONCE = 2
_places = BoundedSemaphore(AT_ONCE)
_HEADERS = {
    "Repr-Digest": "SHA-256 of the file after RFC 9530; the ETag is the same in hexadecimal",
    "Vacuary-Rows": "rows of the table",
    "Vacuary-Edition": "edition of the metric definitions",
    "Vacuary-As-Of": "moment all rows are of",
}


class WhateverIsAccepted(BaseContentNegotiation):
    """The parameter `format` says what is wanted; a refusal is a problem document all the same."""

    def select_parser(self, request: Request, parsers: Any) -> Any:
        """The first."""
        return parsers[0]

    def select_renderer(self, request: Request, renderers: Any, format_suffix: str | None = None) -> Any:
        """The first."""
        return renderers[0], renderers[0].media_type


class ExportFile(FileResponse):
    """A file that gives its place to the next export when it is sent, or given up."""

    def __init__(self, export: Export, place: ExitStack) -> None:
        super().__init__(export.sink.file, as_attachment=True)
        self._place = place

    def close(self) -> None:
        """Close the file and free the place."""
        super().close()
        self._place.close()


class Exports(StrictQuery):
    """An answer, or the measurements of a pump model, as a file."""

    content_negotiation_class = WhateverIsAccepted

    def _known(self) -> set[str]:
        """The file's own parameters and those of the table that is asked for."""
        of = self.request.query_params.get("of", "measurements")
        return {*FileQuery().fields, *(QUERIES[of]().fields if of in QUERIES else ExportQuery().fields)}

    @extend_schema(
        operation_id="exports",
        parameters=[
            ExportQuery,
            OpenApiParameter("Range", location="header", description="bytes=N- goes on from byte N"),
            OpenApiParameter("If-Range", location="header", description="... if the file has this ETag"),
            *(
                OpenApiParameter(name, location="header", response=[200, 206], description=says)
                for name, says in _HEADERS.items()
            ),
        ],
        responses={
            (200, "text/csv"): OpenApiTypes.BINARY,
            (200, "application/vnd.apache.parquet"): OpenApiTypes.BINARY,
            (206, "text/csv"): OpenApiTypes.BINARY,
            (206, "application/vnd.apache.parquet"): OpenApiTypes.BINARY,
        },
    )
    def get(self, request: Request) -> HttpResponseBase:
        """Return the table as a file; the same question over the same data gives the same bytes."""
        wanted = _checked(FileQuery, request)
        asked = _checked(QUERIES[wanted["of"]], request)
        with _place() as place:
            export = build(
                TABLES[wanted["of"]],
                wanted["format"],
                asked,
                settings.VACUARY_EXPORTS,
                mark=wanted["bom"],
            )
            place.callback(export.sink.file.close)
            return _file(export, wanted, request.headers, place.pop_all())


class ExportsDictionary(StrictQuery):
    """What the columns of a table hold."""

    query = DictionaryQuery
    content_negotiation_class = WhateverIsAccepted

    @extend_schema(
        operation_id="exports_dictionary",
        parameters=[DictionaryQuery],
        responses={
            (200, "application/json"): DictionaryDocument,
            (200, "text/csv"): OpenApiResponse(OpenApiTypes.BINARY),
        },
    )
    def get(self, request: Request) -> HttpResponseBase:
        """Return the data dictionary, as JSON or as CSV to lie beside a table."""
        asked = self.asked(request)
        document = about(TABLES[asked["of"]], chosen_edition(asked.get("edition")))
        if asked["format"] == "json":
            return Response(document)
        content = dictionary_csv(document, mark=asked["bom"])
        response = HttpResponse(content, content_type=CSV)
        tell_digest(response, hashlib.sha256(content).digest())
        return response


@contextmanager
def _place() -> Iterator[ExitStack]:
    """One of the places for an export, freed at the end unless the stack is taken over."""
    if not _places.acquire(blocking=False):
        raise TooManyRequests("Other exports are being made", hint="Ask again in a moment.")
    with ExitStack() as stack:
        stack.callback(_places.release)
        yield stack


def _checked(query: type[Serializer[Any]], request: Request) -> dict[str, Any]:
    given = query(data=request.query_params)
    given.is_valid(raise_exception=True)
    return dict(given.validated_data)


def _file(
    export: Export, wanted: Mapping[str, Any], headers: Mapping[str, str], place: ExitStack
) -> ExportFile:
    digest, size = export.sink.digest, export.sink.size
    start = _go_on_from(headers, f'"{digest.hex()}"', size)
    export.sink.file.seek(start)
    response = ExportFile(export, place)
    if start:
        response.status_code = 206
        response["Content-Range"] = f"bytes {start}-{size - 1}/{size}"
    name = _file_name(wanted["of"], export.model, wanted["format"])
    response["Content-Type"] = MEDIA[wanted["format"]]
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    response["Accept-Ranges"] = "bytes"
    tell_digest(response, digest)
    response["Vacuary-Rows"] = str(export.rows)
    response["Vacuary-Edition"] = str(export.edition)
    response["Vacuary-As-Of"] = export.as_of.isoformat()
    return response


def tell_digest(response: HttpResponseBase, digest: bytes) -> None:
    """Set the headers that name the content by its SHA-256."""
    response["ETag"] = f'"{digest.hex()}"'
    response["Repr-Digest"] = f"sha-256=:{base64.b64encode(digest).decode()}:"


def _go_on_from(headers: Mapping[str, str], tag: str, size: int) -> int:
    """The byte to go on from where a fetch of this very file was cut; 0 to begin anew."""
    asked = re.fullmatch(r"bytes=([0-9]{1,15})-", headers.get("Range", "").strip())
    if not asked or headers.get("If-Range") != tag:
        return 0
    start = int(asked[1])
    return start if start < size else 0


def _file_name(of: str, model: str, form: str) -> str:
    plain = re.sub(r"[^a-z0-9]+", "-", model.casefold()).strip("-")[:60]
    return f"{'-'.join(filter(None, (plain, of)))}.{form}"

"""Which revision is the pump in hand, by any mixture of what is known of it."""

from typing import Any

from django.conf import settings
from drf_spectacular.utils import extend_schema
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response

from api.jsontext import parse
from api.parsers import StrictJSON
from api.queries import StrictQuery
from api.serializers.identifying import IdentificationDocument, IdentifyForm, IdentifyQuery, QuestionForm
from api.uploads import PROVENANCE_LIMIT
from api.viewer import viewer_of
from registry.answers.identifying.answer import answer_identification
from registry.answers.identifying.traces import Trace
from registry.errors import Fault, Invalid, TooLarge

_LONGEST_NAME = 60


class Identifications(StrictQuery):
    """Which revision is this pump, and what should be asked next? Nothing is stored."""

    query = IdentifyQuery
    several = ("mark", "skip")
    parser_classes = (StrictJSON, MultiPartParser)

    @extend_schema(
        operation_id="identifications", parameters=[IdentifyQuery], responses=IdentificationDocument
    )
    def get(self, request: Request) -> Response:
        """Answer from a serial, marks, firmware and day of purchase, any of them or none."""
        asked = self.asked(request)
        marks, skipped = (_several(asked.pop(name, [])) for name in self.several)
        return Response(
            answer_identification(**asked, marks=marks, skipped=skipped, operator=viewer_of(request))
        )

    @extend_schema(
        operation_id="identifications_ask",
        request={"application/json": QuestionForm, "multipart/form-data": IdentifyForm},
        responses=IdentificationDocument,
    )
    def post(self, request: Request) -> Response:
        """Answer from the same and from traces. Signed in, gauges are those of the own clinic."""
        is_form = (request.content_type or "").startswith("multipart/")
        form = QuestionForm(data=_question(request) if is_form else request.data)
        form.is_valid(raise_exception=True)
        asked = dict(form.validated_data)
        said, skipped = asked.pop("traces", []), asked.pop("skip", [])
        traces = _traces(request, said) if is_form else _none(said)
        return Response(
            answer_identification(**asked, traces=traces, skipped=skipped, operator=viewer_of(request))
        )


def _several(texts: list[str]) -> list[str]:
    return [part.strip() for text in texts for part in text.split(";") if part.strip()]


def _question(request: Request) -> dict[str, Any]:
    """The JSON object in the form field `question`; a field nobody reads is refused."""
    extra = sorted((set(request.POST) - {"question"}) | (set(request.FILES) - {"trace"}))
    if extra or len(request.POST.getlist("question")) != 1:
        faults = [Fault("unknown form field", field=name) for name in extra]
        faults = faults or [Fault("is needed, once", field="question")]
        raise _refused(faults)
    text = str(request.POST["question"])
    if len(text) > PROVENANCE_LIMIT:
        raise TooLarge(f"question: is larger than {PROVENANCE_LIMIT // 1024} KiB", hint="Say less.")
    try:
        found = parse(text)
    except ValueError as error:
        raise _refused([Fault(f"is not JSON that can be taken: {error}", field="question")]) from error
    if not isinstance(found, dict):
        raise _refused([Fault("must be a JSON object", field="question")])
    return found


def _traces(request: Request, said: list[dict[str, Any]]) -> list[Trace]:
    """The trace files with what was said of each."""
    files = request.FILES.getlist("trace")
    if len(files) != len(said):
        raise _refused([Fault(f"speaks of {len(said)} traces, and {len(files)} files came", field="traces")])
    for file in files:
        if (file.size or 0) > settings.VACUARY_TRACE_LIMIT:
            raise TooLarge(
                f"The trace has {file.size} bytes; at most {settings.VACUARY_TRACE_LIMIT} are taken",
                hint="Cut the recording, or log at a lower rate: 100 Hz serves all pumps.",
            )
    return [
        Trace(_name(file.name or ""), bytes(file.read()), of) for file, of in zip(files, said, strict=True)
    ]


def _name(name: str) -> str:
    """A file's name as it is told back to who sent it."""
    kept = "".join(sign for sign in name if sign.isprintable())
    return kept[-_LONGEST_NAME:] or "trace"


def _none(said: list[dict[str, Any]]) -> list[Trace]:
    if said:
        raise _refused([Fault("need a form that carries their files", field="traces")])
    return []


def _refused(faults: list[Fault]) -> Invalid:
    return Invalid(
        "; ".join(f"{fault.field}: {fault.message}" for fault in faults),
        hint="Send `question` as a JSON object, and each trace's file as a form field `trace`, in its order.",
        faults=tuple(faults),
    )

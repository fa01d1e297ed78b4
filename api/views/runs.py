"""Runs: upload, list, look at, withdraw."""

import logging
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import django_filters
from django.core.files.storage import storages
from django.db.models import Prefetch, QuerySet
from django.http import FileResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework.generics import GenericAPIView
from rest_framework.parsers import MultiPartParser
from rest_framework.permissions import BasePermission
from rest_framework.request import Request
from rest_framework.response import Response

from api.documents import quantities, receipt_document, run_document, run_document_under
from api.filters import (
    ClinicFilter,
    GaugeFilter,
    ModelFilter,
    RevisionFilter,
    SerialFilter,
    TruthFilter,
)
from api.pagination import NewestFirst
from api.permissions import IsOperator, MayRead
from api.queries import StrictQuery
from api.serializers.runs import (
    CyclesDocument,
    CyclesQuery,
    RunDocument,
    RunQuery,
    UploadForm,
    WithdrawForm,
)
from api.uploads import read_form
from api.viewer import operator_of, viewer_of
from registry.answers.stamp import current_edition
from registry.errors import NotFound, NotPermitted
from registry.intake.cycles import count_of, rows_of
from registry.intake.receive import receive
from registry.intake.remeasuring.stored import (
    details_under,
    imbalance_under,
    other_side,
    run_under,
)
from registry.intake.withdraw import withdraw
from registry.models import Finding, Measurement, Mode, Run, RunState

log = logging.getLogger(__name__)


class RunFilter(django_filters.FilterSet):
    """Filters of the list of runs."""

    model = ModelFilter()
    revision = RevisionFilter("unit__revision")
    serial = SerialFilter("unit__serial")
    clinic = ClinicFilter("clinic")
    gauge = GaugeFilter("session__gauge_code")
    mode = django_filters.ChoiceFilter(choices=Mode.choices)
    level = django_filters.CharFilter("level", "iexact")
    state = django_filters.ChoiceFilter(choices=RunState.choices)
    mine = TruthFilter(method="of_viewer", label="only the viewer's own clinic's runs")

    def of_viewer(self, queryset: QuerySet[Run], name: str, value: bool) -> QuerySet[Run]:  # noqa: FBT001
        """Runs of the clinic of who asks; somebody without an account has none."""
        viewer = viewer_of(self.request)
        if not value:
            return queryset
        return queryset.filter(clinic=viewer.clinic_id) if viewer else queryset.none()


def _with_names(runs: QuerySet[Run]) -> QuerySet[Run]:
    return runs.select_related(
        "pump_model", "unit__revision", "asserted", "clinic", "session__operator", "rig"
    )


def with_all(runs: QuerySet[Run]) -> QuerySet[Run]:
    """Fetch what a run's document shows in a fixed number of queries."""
    return _with_names(runs).prefetch_related(
        Prefetch("measurements", Measurement.objects.filter(edition__is_current=True).order_by("id")),
        Prefetch("findings", Finding.objects.filter(edition__is_current=True)),
    )


class RunList(StrictQuery, GenericAPIView[Run]):
    """The runs of the registry."""

    queryset = Run.objects.all()
    filterset_class = RunFilter
    pagination_class = NewestFirst
    parser_classes = (MultiPartParser,)
    serializer_class = RunDocument

    def get_permissions(self) -> list[BasePermission]:
        return [IsOperator()] if self.request.method == "POST" else [MayRead()]

    @extend_schema(operation_id="runs_list", responses=RunDocument(many=True))
    def get(self, request: Request) -> Response:
        """List runs, newest first."""
        page = self.paginate_queryset(with_all(self.filter_queryset(self.get_queryset())))
        edition, viewer = current_edition(), viewer_of(request)
        return self.get_paginated_response([run_document(run, edition, viewer) for run in page or ()])

    @extend_schema(
        operation_id="runs_upload",
        request={"multipart/form-data": UploadForm},
        responses={
            201: RunDocument,
            200: OpenApiResponse(
                RunDocument, description="the same bytes with the same provenance: same run"
            ),
        },
    )
    def post(self, request: Request) -> Response:
        """Upload one trace with its provenance. The same upload again gives the same run."""
        data, said = read_form(request, needs_provenance=True)
        operator = operator_of(request)
        receipt = receive(data, said, operator)
        if receipt.measured is None:
            return Response(stored_document(receipt.run.pk, operator))
        document = receipt_document(receipt, receipt.measured, operator)
        return Response(document | _beside(receipt.run, receipt.measured.edition), status=201)


def stored_document(run_id: int, viewer: Any, edition: int | None = None) -> dict[str, Any]:
    """Return the document of a stored run, under an edition if one is named.

    Raises NotFound, UnknownEdition or NotMeasured.
    """
    if edition is not None:
        run = _one(_with_names(Run.objects.all()), run_id)
        document = run_document_under(run_under(run, edition), viewer)
    else:
        run, edition = _one(with_all(Run.objects.all()), run_id), current_edition()
        document = run_document(run, edition, viewer)
    return document | _beside(run, edition)


def _beside(run: Run, edition: int) -> dict[str, Any]:
    """What is told of a run whose other side is stored too: which that is, and how unlike both pull."""
    other = other_side(run)
    if other is None:
        return {}
    # Where only what was said tells the sides apart, the run that came later holds it.
    later, earlier = sorted((run, other), key=lambda one: -one.pk)
    imbalance = imbalance_under(later, edition) or imbalance_under(earlier, edition)
    if imbalance is None:
        return {}
    there = {"id": other.pk, "side": other.side, "state": other.state}
    return {"other_side": there, "imbalance": quantities(imbalance)}


def _one(runs: QuerySet[Run], run_id: int) -> Run:
    run = runs.filter(pk=run_id).first()
    if run is None:
        raise NotFound(f"There is no run {run_id}", hint="Look for it with GET /api/v1/runs.")
    return run


class RunDetail(StrictQuery):
    """One run."""

    query = RunQuery

    @extend_schema(operation_id="runs_retrieve", parameters=[RunQuery], responses=RunDocument)
    def get(self, request: Request, run_id: int) -> Response:
        """Show one run with its measurements and findings, under the current edition or the one named."""
        return Response(stored_document(run_id, viewer_of(request), self.asked(request).get("edition")))


def find_run(run_id: int) -> Run:
    """Return the run with what measuring it needs. Raises NotFound."""
    return _one(Run.objects.select_related("session__gauge", "trace"), run_id)


@contextmanager
def stored_bytes(run: Run) -> Iterator[None]:
    """Say plainly that a stored trace is gone from the storage, and tell the log. Raises NotFound."""
    try:
        yield
    except FileNotFoundError as error:
        log.error("the trace %s of run %s is missing from the storage", run.trace_id, run.pk)
        raise NotFound(
            f"The trace file of run {run.pk} is missing from the server's storage",
            hint="Tell the registry's keeper: the file has to be brought back from a backup.",
        ) from error


class RunTrace(StrictQuery):
    """The original bytes, as they were sent. A logger's preamble may name people, so not for everyone."""

    permission_classes = (IsOperator,)

    @extend_schema(
        operation_id="runs_trace", responses={(200, "application/octet-stream"): OpenApiTypes.BINARY}
    )
    def get(self, request: Request, run_id: int) -> FileResponse:
        """Return the trace file; for the run's own clinic and for curators."""
        run, operator = find_run(run_id), operator_of(request)
        if run.clinic_id != operator.clinic_id and not operator.is_curator:
            raise NotPermitted("The trace belongs to another clinic", hint="Ask that clinic or a curator.")
        with stored_bytes(run):
            file = storages["traces"].open(run.trace.storage_name)
        return FileResponse(
            file, as_attachment=True, filename=f"run-{run.pk}", content_type="application/octet-stream"
        )


class RunCycles(StrictQuery):
    """The values of each cycle, as open to all as what a run measured."""

    query = CyclesQuery

    @extend_schema(operation_id="runs_cycles", parameters=[CyclesQuery], responses=CyclesDocument)
    def get(self, request: Request, run_id: int) -> Response:
        """Show a run's cycles one by one, as they were kept when it was measured."""
        asked = self.asked(request)
        edition = asked.get("edition") or current_edition()
        cycles = details_under(_one(Run.objects.only("pk"), run_id), edition).cycles
        start, size, count = asked["cursor"], asked["page_size"], count_of(cycles)
        following = start + size if start + size < count else None
        return Response(
            {
                "run": run_id,
                "edition": edition,
                "count": count,
                "results": rows_of(cycles, start, size),
                "next": following and _at(request, cursor=following, page_size=size),
            }
        )


def _at(request: Request, **changes: int) -> str:
    """The address asked for with other query parameters."""
    query = request.query_params.copy()
    for name, value in changes.items():
        query[name] = str(value)
    return request.build_absolute_uri(f"?{query.urlencode()}")


class RunWithdraw(StrictQuery):
    """Take a run out of all answers. Nothing is deleted."""

    permission_classes = (IsOperator,)

    @extend_schema(operation_id="runs_withdraw", request=WithdrawForm, responses=RunDocument)
    def post(self, request: Request, run_id: int) -> Response:
        """Withdraw a run of the own clinic, with a reason; a curator may withdraw any."""
        form = WithdrawForm(data=request.data)
        form.is_valid(raise_exception=True)
        operator = operator_of(request)
        withdraw(find_run(run_id).pk, operator, form.validated_data["reason"])
        return Response(stored_document(run_id, operator))

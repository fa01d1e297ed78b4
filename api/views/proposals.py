"""Corrections of the catalogue: propose, look at, confirm, reject; and what was done to it."""

from typing import Any

import django_filters
from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework.permissions import BasePermission
from rest_framework.request import Request
from rest_framework.response import Response

from api.pagination import NewestFirst
from api.permissions import IsCurator, MayRead
from api.queries import StrictQuery
from api.serializers import proposals as shapes
from api.viewer import operator_of, viewer_of
from api.views.catalogue import OfModel, Shelf
from registry.answers.serials.history import catalogue_history
from registry.errors import NotFound, ProposalStale
from registry.intake.differences import propose_differences
from registry.intake.proposals import confirm, foresee, propose, reject
from registry.models import Proposal, ProposalState, PumpModel


class ProposalFilter(OfModel):
    """Proposals by model and state."""

    state = django_filters.ChoiceFilter("state", choices=ProposalState.choices)


class Proposals(Shelf):
    """Corrections that one curator proposes and another confirms."""

    queryset = Proposal.objects.select_related("pump_model", "proposed_by", "decided_by")
    serializer_class = shapes.ProposalDocument
    filterset_class = ProposalFilter
    pagination_class = NewestFirst

    def get_queryset(self) -> QuerySet[Proposal]:
        return super().get_queryset().order_by("-id")

    def get_permissions(self) -> list[BasePermission]:
        return [MayRead()] if self.request.method in ("GET", "HEAD", "OPTIONS") else [IsCurator()]

    @extend_schema(operation_id="proposals_retrieve")
    def retrieve(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Show one proposal; a curator sees of an open one what it would change now."""
        proposal = self.get_object()
        viewer, stale = viewer_of(request), None
        if viewer is not None and viewer.is_curator and proposal.state == ProposalState.OPEN:
            try:
                proposal.foreseen = foresee(proposal)
            except ProposalStale as error:
                stale = error.detail
        return Response(shapes.ProposalDocument(proposal, context={"stale": stale}).data)

    @extend_schema(
        operation_id="proposals_propose",
        request=shapes.ProposalForm,
        responses={201: shapes.ProposalDocument},
    )
    def create(self, request: Request) -> Response:
        """Propose a correction of one pump model; nothing changes until another curator confirms it."""
        form = shapes.ProposalForm(data=request.data)
        form.is_valid(raise_exception=True)
        change = dict(form.validated_data)
        proposal = propose(operator_of(request), change.pop("pump_model"), change)
        return Response(shapes.ProposalDocument(proposal).data, status=201)


class ProposedDifferences(StrictQuery):
    """What a catalogue file says otherwise, proposed."""

    permission_classes = (IsCurator,)

    @extend_schema(
        operation_id="proposals_from_catalogue",
        request=shapes.DifferencesForm,
        responses={201: shapes.ProposedDocument},
    )
    def post(self, request: Request) -> Response:
        """Propose what a catalogue file says otherwise than the catalogue, one proposal a model."""
        form = shapes.DifferencesForm(data=request.data)
        form.is_valid(raise_exception=True)
        said = dict(form.validated_data)
        made = propose_differences(operator_of(request), said, said["why"])
        return Response({"results": shapes.ProposalDocument(made, many=True).data}, status=201)


class ProposalConfirm(StrictQuery):
    """Apply a proposal."""

    permission_classes = (IsCurator,)

    @extend_schema(operation_id="proposals_confirm", request=None, responses=shapes.ProposalDocument)
    def post(self, request: Request, proposal_id: int) -> Response:
        """Confirm what another curator proposed: spans, units, runs and answers follow."""
        confirm(proposal_id, operator_of(request))
        return _shown(proposal_id)


class ProposalReject(StrictQuery):
    """Turn a proposal down."""

    permission_classes = (IsCurator,)

    @extend_schema(
        operation_id="proposals_reject", request=shapes.RejectionForm, responses=shapes.ProposalDocument
    )
    def post(self, request: Request, proposal_id: int) -> Response:
        """Reject a proposal for a reason, which stays on record."""
        form = shapes.RejectionForm(data=request.data)
        form.is_valid(raise_exception=True)
        reject(proposal_id, operator_of(request), form.validated_data["reason"])
        return _shown(proposal_id)


def _shown(proposal_id: int) -> Response:
    return Response(shapes.ProposalDocument(Proposals.queryset.get(pk=proposal_id)).data)


class CatalogueHistory(StrictQuery):
    """What was done to a pump model's revisions, spans and schemes."""

    query = shapes.HistoryQuery

    @extend_schema(
        operation_id="pump_models_history",
        parameters=[shapes.HistoryQuery],
        responses=shapes.HistoryDocument,
    )
    def get(self, request: Request, model_id: int) -> Response:
        """Tell who changed what and when, newest first."""
        asked = self.asked(request)
        model = PumpModel.objects.filter(pk=model_id).first()
        if model is None:
            raise NotFound(f"There is no pump model {model_id}", hint="Look at GET /api/v1/pump-models.")
        size, after = asked["page_size"], asked["after"]
        rows = catalogue_history(model, size + 1, after)
        more = f"?page_size={size}&after={after + size}" if len(rows) > size else None
        following = request.build_absolute_uri(request.path + more) if more else None
        return Response({"model": model.name, "results": rows[:size], "next": following})

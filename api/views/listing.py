"""Listing a revision from the alert that told of it."""

from drf_spectacular.utils import extend_schema
from rest_framework import status
from rest_framework.request import Request
from rest_framework.response import Response

from api.permissions import IsCurator
from api.queries import StrictQuery
from api.serializers.listing import ListingDocument, ListingForm
from api.viewer import operator_of
from registry.alerts.listing import list_revision


class AlertList(StrictQuery):
    """An alert of an unlisted revision that a curator believes."""

    permission_classes = (IsCurator,)

    @extend_schema(operation_id="alerts_list_revision", request=ListingForm, responses={201: ListingDocument})
    def post(self, request: Request, alert_id: int) -> Response:
        """Propose the new revision with its spans, and the old one's cut; another curator confirms it."""
        form = ListingForm(data=request.data)
        form.is_valid(raise_exception=True)
        proposal = list_revision(alert_id, operator_of(request), **form.validated_data)
        document = {
            "proposal": proposal.pk,
            "state": proposal.state,
            "pump_model": proposal.pump_model.name,
            "change": proposal.change,
            "foreseen": proposal.foreseen,
            "says": f"Proposal {proposal.pk}: {proposal.foreseen['says']} Another curator confirms it.",
        }
        return Response(document, status=status.HTTP_201_CREATED)

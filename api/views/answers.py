"""Questions to the community's measurements."""

from django.http import HttpResponse
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.queries import StrictQuery
from api.serializers.answers import DistributionsDocument, DistributionsQuery
from api.serializers.benches import BenchesDocument, BenchesQuery
from api.serializers.serials import SerialsDocument, SerialsQuery
from api.views.kept import KeptAnswers
from registry.answers.benches.answer import answer_benches
from registry.answers.serials.answer import answer_serials


class Serials(StrictQuery):
    """Which revision is this serial, or this range? Hardly two ask alike, so the answer is not kept."""

    query = SerialsQuery

    @extend_schema(operation_id="serials", parameters=[SerialsQuery], responses=SerialsDocument)
    def get(self, request: Request) -> Response:
        """Answer with the sub-spans in order; gaps are said, never guessed over."""
        asked = self.asked(request)
        return Response(answer_serials(asked["model"], asked["first"], asked.get("last")))


class Distributions(KeptAnswers):
    """How does a build behave at each setting across clinics?"""

    kind = "distributions"
    query = DistributionsQuery

    @extend_schema(
        operation_id="distributions", parameters=[DistributionsQuery], responses=DistributionsDocument
    )
    def get(self, request: Request) -> HttpResponse:
        """Answer with one cell for each revision, setting, rig, power, band of elevation and metric."""
        return self.answered(request, self.asked(request))


class Benches(StrictQuery):
    """How do benches compare, and how did units that went round come out?"""

    query = BenchesQuery

    @extend_schema(operation_id="benches", parameters=[BenchesQuery], responses=BenchesDocument)
    def get(self, request: Request) -> Response:
        """Answer for all clinics; with a token the own one and its gauges are named."""
        clinic = getattr(request.user, "clinic", None)
        return Response(answer_benches(clinic, **self.asked(request)))

"""Questions that hold builds against each other, against needs and against claims."""

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.queries import StrictQuery
from api.serializers.comparing import ComparisonsDocument, ComparisonsQuery
from registry.answers.comparisons import answer_comparison


class Comparisons(StrictQuery):
    """Are two revisions, units or firmwares the same?"""

    query = ComparisonsQuery

    @extend_schema(operation_id="comparisons", parameters=[ComparisonsQuery], responses=ComparisonsDocument)
    def get(self, request: Request) -> Response:
        """Answer setting by setting: same, different, or cannot tell yet and what would tell."""
        return Response(answer_comparison(**self.asked(request)))

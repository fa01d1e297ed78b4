"""Questions that hold builds against each other, against needs and against claims."""

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.queries import StrictQuery
from api.serializers.claims import ClaimsDocument, ClaimsQuery
from api.serializers.comparing import ComparisonsDocument, ComparisonsQuery, SwapsDocument, SwapsQuery
from api.serializers.matching import NEEDS, SettingsDocument, SettingsQuery
from registry.answers.claims import answer_claims
from registry.answers.comparisons import answer_comparison
from registry.answers.settings import answer_settings
from registry.answers.swaps import answer_swap


class Comparisons(StrictQuery):
    """Are two revisions, units or firmwares the same?"""

    query = ComparisonsQuery

    @extend_schema(operation_id="comparisons", parameters=[ComparisonsQuery], responses=ComparisonsDocument)
    def get(self, request: Request) -> Response:
        """Answer setting by setting: same, different, or cannot tell yet and what would tell."""
        return Response(answer_comparison(**self.asked(request)))


class PartSwaps(StrictQuery):
    """How much of a difference goes with a part, how much with the base?"""

    query = SwapsQuery

    @extend_schema(operation_id="part_swaps", parameters=[SwapsQuery], responses=SwapsDocument)
    def get(self, request: Request) -> Response:
        """Answer setting by setting, and name the runs that are missing."""
        return Response(answer_swap(**self.asked(request)))


class SettingsMatches(StrictQuery):
    """Which settings meet a need, or are like another one?"""

    query = SettingsQuery

    @extend_schema(operation_id="settings_matches", parameters=[SettingsQuery], responses=SettingsDocument)
    def get(self, request: Request) -> Response:
        """Answer with the likeliest, or the nearest, first."""
        asked = self.asked(request)
        needs = {name: asked.pop(name) for name in NEEDS if name in asked}
        return Response(answer_settings(needs=needs, **asked))


class Claims(StrictQuery):
    """Does a pump do what is claimed of it?"""

    query = ClaimsQuery

    @extend_schema(operation_id="claims", parameters=[ClaimsQuery], responses=ClaimsDocument)
    def get(self, request: Request) -> Response:
        """Answer with a verdict for each claim and revision, and the risk that it is wrong."""
        return Response(answer_claims(**self.asked(request)))

"""Questions that hold builds against each other, against needs and against claims."""

from django.http import HttpResponse
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request

from api.serializers.claims import ClaimsDocument, ClaimsQuery
from api.serializers.comparing import ComparisonsDocument, ComparisonsQuery, SwapsDocument, SwapsQuery
from api.serializers.matching import NEEDS, SettingsDocument, SettingsQuery
from api.views.kept import KeptAnswers


class Comparisons(KeptAnswers):
    """Are two revisions, units or firmwares the same?"""

    kind = "comparisons"
    query = ComparisonsQuery

    @extend_schema(operation_id="comparisons", parameters=[ComparisonsQuery], responses=ComparisonsDocument)
    def get(self, request: Request) -> HttpResponse:
        """Answer setting by setting: same, different, or cannot tell yet and what would tell."""
        return self.answered(request, self.asked(request))


class PartSwaps(KeptAnswers):
    """How much of a difference goes with a part, how much with the base?"""

    kind = "part-swaps"
    query = SwapsQuery

    @extend_schema(operation_id="part_swaps", parameters=[SwapsQuery], responses=SwapsDocument)
    def get(self, request: Request) -> HttpResponse:
        """Answer setting by setting, and name the runs that are missing."""
        return self.answered(request, self.asked(request))


class SettingsMatches(KeptAnswers):
    """Which settings meet a need, or are like another one?"""

    kind = "settings-matches"
    query = SettingsQuery

    @extend_schema(operation_id="settings_matches", parameters=[SettingsQuery], responses=SettingsDocument)
    def get(self, request: Request) -> HttpResponse:
        """Answer with the likeliest, or the nearest, first."""
        asked = self.asked(request)
        needs = {name: asked.pop(name) for name in NEEDS if name in asked}
        return self.answered(request, {**asked, "needs": needs})


class Claims(KeptAnswers):
    """Does a pump do what is claimed of it?"""

    kind = "claims"
    query = ClaimsQuery

    @extend_schema(operation_id="claims", parameters=[ClaimsQuery], responses=ClaimsDocument)
    def get(self, request: Request) -> HttpResponse:
        """Answer with a verdict for each claim and revision, and the risk that it is wrong."""
        return self.answered(request, self.asked(request))

"""Shapes of corrections that are proposed and confirmed, and of the catalogue's history."""

from typing import Any

from rest_framework import serializers

from api.serializers.catalogue import (
    CatalogueForm,
    ChangeDocument,
    DeclaredScheme,
    DeclaredSpan,
    Marks,
)
from api.serializers.strict import Prose, Strict
from registry.models import Proposal, ProposalState, SpanBasis


class ProposedRevision(Strict):
    """A revision to bring: a stored one changes in what is given, a new one comes last without an order."""

    label = serializers.CharField(max_length=40)  # type: ignore[assignment]
    order = serializers.IntegerField(min_value=0, max_value=32767, required=False)
    firmware = serializers.ListField(
        child=serializers.CharField(max_length=40), required=False, max_length=50
    )
    marks = Marks(required=False)


class ProposedSpan(DeclaredSpan):
    """A span to bring."""

    revision = serializers.CharField(max_length=40)


class DroppedSpan(Strict):
    """A stored span to take away."""

    revision = serializers.CharField(max_length=40)
    first = serializers.CharField(max_length=40)
    last = serializers.CharField(max_length=40)
    basis = serializers.ChoiceField(choices=SpanBasis.choices)


class ProposalForm(Strict):
    """A correction of one pump model."""

    pump_model = serializers.CharField(max_length=120)
    revisions = ProposedRevision(many=True, required=False, max_length=200)  # type: ignore[call-arg]
    spans = ProposedSpan(many=True, required=False, max_length=10_000)  # type: ignore[call-arg]
    dropped_spans = DroppedSpan(many=True, required=False, max_length=10_000)  # type: ignore[call-arg]
    schemes = DeclaredScheme(many=True, required=False, max_length=20)  # type: ignore[call-arg]
    why = Prose(max_length=500, help_text="what is wrong with the catalogue as it is")


class DifferencesForm(CatalogueForm):
    """A catalogue file whose differences are to be proposed."""

    why = Prose(max_length=500)


class RejectionForm(Strict):
    """Why a proposal is turned down."""

    reason = Prose(max_length=500)


class MovedUnits(serializers.Serializer[Any]):
    """Units that go from one revision to another."""

    was = serializers.CharField(allow_null=True)
    now = serializers.CharField(allow_null=True)
    units = serializers.IntegerField()
    first = serializers.CharField()
    last = serializers.CharField()


class MovedRuns(serializers.Serializer[Any]):
    """Runs that go from one state to another."""

    was = serializers.CharField()
    now = serializers.CharField()
    runs = serializers.IntegerField()


class EffectsDocument(serializers.Serializer[Any]):
    """What a correction does, or would do."""

    changes = ChangeDocument(many=True)
    units = MovedUnits(many=True)
    runs = MovedRuns(many=True)
    overlaps = serializers.ListField(child=serializers.CharField())
    says = serializers.CharField()


class ProposedChange(serializers.Serializer[Any]):
    """What was proposed."""

    revisions = ProposedRevision(many=True, required=False)
    spans = ProposedSpan(many=True, required=False)
    dropped_spans = DroppedSpan(many=True, required=False)
    schemes = DeclaredScheme(many=True, required=False)


class ProposalDocument(serializers.ModelSerializer[Proposal]):
    """A proposal: what it changes, who proposed it and why, and what became of it."""

    pump_model = serializers.CharField(source="pump_model.name")
    state = serializers.ChoiceField(choices=ProposalState.choices)
    change = ProposedChange()
    foreseen = EffectsDocument(help_text="what it would change; for a curator's look at one, as of now")
    done = EffectsDocument(allow_null=True, help_text="what it changed when it was confirmed")
    proposed_by = serializers.CharField(source="proposed_by.handle")
    decided_by = serializers.CharField(source="decided_by.handle", default=None, allow_null=True)
    is_outdated = serializers.SerializerMethodField(help_text="the catalogue changed since it was proposed")
    stale = serializers.SerializerMethodField(help_text="why it applies no more, looked at now; else null")

    class Meta:
        model = Proposal
        fields = (
            "id", "pump_model", "state", "change", "why", "foreseen", "done", "proposed_by", "proposed_at",
            "decided_by", "decided_at", "decided_why", "is_outdated", "stale",
        )  # fmt: skip

    def get_is_outdated(self, proposal: Proposal) -> bool:
        """Whether an open proposal was made for an earlier state of the catalogue."""
        is_open = proposal.state == ProposalState.OPEN
        return is_open and proposal.catalogue_version != proposal.pump_model.catalogue_version

    def get_stale(self, proposal: Proposal) -> str | None:
        """Why it applies no more, where that was looked at."""
        stale: str | None = self.context.get("stale")
        return stale


class ProposedDocument(serializers.Serializer[Any]):
    """The proposals a file became, one a model."""

    results = ProposalDocument(many=True)


class HistoryQuery(serializers.Serializer[Any]):
    """Which part of the history?"""

    page_size = serializers.IntegerField(min_value=1, max_value=500, default=50)
    after = serializers.IntegerField(
        min_value=0, max_value=1_000_000, default=0, help_text="rows to pass over"
    )


class HistoryRow(serializers.Serializer[Any]):
    """One thing that was done to a record of the catalogue."""

    at = serializers.DateTimeField()
    kind = serializers.ChoiceField(choices=["span", "revision", "serial_scheme", "claim"])
    name = serializers.CharField()
    action = serializers.ChoiceField(choices=["created", "changed", "removed"])
    by = serializers.CharField(allow_null=True)
    proposed_by = serializers.CharField(allow_null=True)
    proposal = serializers.IntegerField(allow_null=True)
    why = serializers.CharField(allow_null=True)
    before = serializers.DictField(allow_null=True)
    after = serializers.DictField(allow_null=True)
    says = serializers.CharField()


class HistoryDocument(serializers.Serializer[Any]):
    """What was done, newest first."""

    model = serializers.CharField()
    results = HistoryRow(many=True)
    next = serializers.CharField(allow_null=True, help_text="address of the next page")

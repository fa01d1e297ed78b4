"""Corrections of the catalogue that one curator proposes and another confirms."""

from django.db import models
from django.db.models import F, Q

from registry.models.catalogue import PumpModel
from registry.models.people import Operator


class ProposalState(models.TextChoices):
    """Open until another curator confirms or rejects it; whoever proposed it may reject it too."""

    OPEN = "open"
    CONFIRMED = "confirmed"
    REJECTED = "rejected"


class Proposal(models.Model):
    """One correction of a pump model's revisions, schemes and spans.

    `change` is what was proposed, `foreseen` what it would have changed when it was proposed, and `done` what
    it changed when it was confirmed. `catalogue_version` is the model's when it was proposed.
    """

    pump_model = models.ForeignKey(PumpModel, on_delete=models.PROTECT, related_name="proposals")
    change = models.JSONField()
    why = models.CharField(max_length=500)
    state = models.CharField(max_length=10, choices=ProposalState.choices, default=ProposalState.OPEN)
    catalogue_version = models.PositiveIntegerField()
    foreseen = models.JSONField(default=dict)
    done = models.JSONField(null=True)
    proposed_by = models.ForeignKey(Operator, on_delete=models.PROTECT, related_name="+", db_index=False)
    proposed_at = models.DateTimeField(auto_now_add=True)
    decided_by = models.ForeignKey(
        Operator, null=True, on_delete=models.PROTECT, related_name="+", db_index=False
    )
    decided_at = models.DateTimeField(null=True)
    decided_why = models.CharField(max_length=500, blank=True)

    class Meta:
        constraints = (
            models.CheckConstraint(
                condition=Q(state="open", decided_by__isnull=True, decided_at__isnull=True)
                | (~Q(state="open") & Q(decided_by__isnull=False, decided_at__isnull=False)),
                name="decided_by_somebody",
            ),
            models.CheckConstraint(
                condition=~Q(state="confirmed") | ~Q(decided_by=F("proposed_by")),
                name="confirmed_by_another",
            ),
            models.CheckConstraint(
                condition=~Q(state="rejected") | ~Q(decided_why=""), name="rejected_with_a_reason"
            ),
        )

    def __str__(self) -> str:
        return f"proposal {self.pk}"

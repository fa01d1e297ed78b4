"""What stood out: alerts raised by rules over the summaries."""

from django.db import models
from django.db.models import Q


class AlertState(models.TextChoices):
    """An alert is raised, may be seen, and ends settled (it went away) or dismissed (with a reason)."""

    RAISED = "raised"
    SEEN = "seen"
    SETTLED = "settled"
    DISMISSED = "dismissed"


class Alert(models.Model):
    """One cause, one alert: at most one open alert a rule and subject, kept so by the database."""

    rule = models.CharField(max_length=40)
    rule_version = models.PositiveSmallIntegerField()
    subject_kind = models.CharField(max_length=20)
    subject = models.CharField(max_length=120)
    state = models.CharField(max_length=10, choices=AlertState.choices, default=AlertState.RAISED)
    since = models.DateTimeField()
    changed_at = models.DateTimeField(auto_now=True)
    confidence = models.FloatField()
    says = models.CharField(max_length=400)
    evidence = models.JSONField(help_text="the figures as they were when the alert was raised")

    class Meta:
        constraints = (
            models.UniqueConstraint(
                fields=["rule", "subject_kind", "subject"],
                condition=Q(state__in=["raised", "seen"]),
                name="one_open_alert_a_subject",
            ),
        )

    def __str__(self) -> str:
        return self.says

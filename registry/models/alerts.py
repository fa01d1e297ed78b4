"""What stood out: alerts raised by rules over the summaries, and how each subject stood at the last look."""

from django.db import models
from django.db.models import Q

from registry.models.bench import Gauge, Unit
from registry.models.catalogue import PumpModel, Revision
from registry.models.people import Clinic

UNTOLD = ("suspected", "lapsed")


class AlertState(models.TextChoices):
    """A suspicion is raised when it is confirmed, and lapses when it is not; nobody is told of either before.

    An alert is raised, may be seen, and ends settled (it went away) or dismissed (with a reason).
    """

    SUSPECTED = "suspected"
    RAISED = "raised"
    SEEN = "seen"
    SETTLED = "settled"
    DISMISSED = "dismissed"
    LAPSED = "lapsed"


class DismissReason(models.TextChoices):
    """Why an alert was none, or none worth telling. Shares of these are public, the note beside is not."""

    RIG_FAULT = "rig_fault", "the rig or the set-up was at fault"
    GAUGE_RECALIBRATED = "gauge_recalibrated", "the gauge has been adjusted or calibrated since"
    KNOWN_BATCH = "known_batch", "a known batch or build explains it"
    MEASURED_WRONGLY = "measured_wrongly", "runs were recorded or described wrongly"
    NOT_IMPORTANT = "not_important", "it is so, and does not matter"
    FALSE_ALARM = "false_alarm", "looked into: nothing is the matter"
    OTHER = "other", "something else, told in the note"


class Alert(models.Model):
    """One cause, one alert: at most one open alert a rule and subject, kept so by the database.

    Shadow alerts are those of a rule's version on trial: each version has its own, and nobody is told.
    """

    rule = models.CharField(max_length=40)
    rule_version = models.PositiveSmallIntegerField()
    shadow = models.BooleanField(default=False)
    severity = models.CharField(max_length=10, default="caution")
    subject_kind = models.CharField(max_length=20)
    subject = models.CharField(max_length=120)
    clinic = models.ForeignKey(Clinic, null=True, on_delete=models.PROTECT, related_name="+")
    pump_model = models.ForeignKey(PumpModel, null=True, on_delete=models.PROTECT, related_name="+")
    state = models.CharField(max_length=10, choices=AlertState.choices, default=AlertState.RAISED)
    since = models.DateTimeField(help_text="when the effect began, or else was first suspected")
    runs = models.PositiveIntegerField(default=0, help_text="the runs it was suspected on")
    changed_at = models.DateTimeField(auto_now=True)
    raised_at = models.DateTimeField(null=True)
    confidence = models.FloatField()
    says = models.CharField(max_length=400)
    evidence = models.JSONField(help_text="the figures as they were when the alert was raised")
    why = models.JSONField(default=list, help_text="the figures against the limits, in words")
    cautions = models.JSONField(default=list, help_text="beside those of every alert")
    closed_at = models.DateTimeField(null=True)
    closed_why = models.CharField(max_length=400, blank=True)
    reason = models.CharField(max_length=20, choices=DismissReason.choices, blank=True)

    class Meta:
        constraints = (
            models.UniqueConstraint(
                fields=["rule", "subject_kind", "subject"],
                condition=Q(state__in=["suspected", "raised", "seen"], shadow=False),
                name="one_open_alert_a_subject",
            ),
            models.UniqueConstraint(
                fields=["rule", "rule_version", "subject_kind", "subject"],
                condition=Q(state__in=["suspected", "raised", "seen"], shadow=True),
                name="one_open_shadow_alert",
            ),
            models.CheckConstraint(
                condition=~Q(state="dismissed") | ~Q(reason=""), name="dismissed_with_a_reason"
            ),
        )
        indexes = (models.Index(fields=["rule", "subject"], name="alerts_of_a_subject"),)

    def __str__(self) -> str:
        return self.says


class Judgement(models.Model):
    """How one subject stood under one version of a rule when it was last looked at.

    `p` is its own chance, charged for repeated looks; `q` what it came to among all that were looked at.
    Keys are of what it is about; they are for finding it again, so nothing else is held by them.
    """

    rule = models.CharField(max_length=40)
    rule_version = models.PositiveSmallIntegerField()
    subject_kind = models.CharField(max_length=20)
    subject = models.CharField(max_length=120)
    standing = models.CharField(max_length=10)
    size = models.FloatField()
    p = models.FloatField(null=True)
    q = models.FloatField(null=True)
    runs = models.PositiveIntegerField(default=0)
    says = models.CharField(max_length=400)
    lacks = models.CharField(max_length=400, blank=True)
    evidence = models.JSONField(default=dict)
    cautions = models.JSONField(default=list)
    confirmed = models.BooleanField(default=False, help_text="two halves of the evidence say so each alone")
    since = models.DateTimeField(null=True)
    looked_at = models.DateTimeField()
    unit = models.ForeignKey(Unit, null=True, on_delete=models.CASCADE, related_name="+", db_constraint=False)
    gauge = models.ForeignKey(
        Gauge, null=True, on_delete=models.CASCADE, related_name="+", db_constraint=False
    )
    clinic = models.ForeignKey(
        Clinic, null=True, on_delete=models.CASCADE, related_name="+", db_constraint=False
    )
    revision = models.ForeignKey(
        Revision, null=True, on_delete=models.CASCADE, related_name="+", db_constraint=False, db_index=False
    )
    pump_model = models.ForeignKey(
        PumpModel, null=True, on_delete=models.CASCADE, related_name="+", db_constraint=False
    )

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["rule", "rule_version", "subject"], name="judged_once_a_version"),
        )
        # How many chances a rule has, and the small ones among them, are read from the index alone.
        indexes = (models.Index(fields=["rule", "rule_version", "p"], name="chances_of_a_rule"),)

    def __str__(self) -> str:
        return f"{self.rule} {self.rule_version}: {self.subject} {self.standing}"


class RuleStage(models.TextChoices):
    """A version runs in shadow before it tells anybody; a retired one runs no more."""

    SHADOW = "shadow"
    LIVE = "live"
    RETIRED = "retired"


class RuleVersion(models.Model):
    """Where a version of a rule stands. Exactly one version of a rule is live."""

    rule = models.CharField(max_length=40)
    version = models.PositiveSmallIntegerField()
    stage = models.CharField(max_length=10, choices=RuleStage.choices)
    since = models.DateTimeField(auto_now=True)
    moved_by = models.CharField(max_length=200, blank=True)

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["rule", "version"], name="one_stage_a_version"),
            models.UniqueConstraint(fields=["rule"], condition=Q(stage="live"), name="one_live_version"),
        )

    def __str__(self) -> str:
        return f"{self.rule} {self.version}: {self.stage}"


class AlertNote(models.Model):
    """What a curator wrote on dismissing an alert: that person's own words, for curators only."""

    alert = models.OneToOneField(Alert, primary_key=True, on_delete=models.CASCADE, related_name="note")
    text = models.CharField(max_length=300)
    by = models.CharField(max_length=200, blank=True)

    def __str__(self) -> str:
        return self.text

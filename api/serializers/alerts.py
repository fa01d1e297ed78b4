"""Shapes of alerts, of the rules behind them, and of what they are asked with."""

from typing import Any

from rest_framework import serializers

from api.serializers.strict import Prose, Strict
from registry.alerts.book import STATES
from registry.models import AlertState, DismissReason, RuleStage

SEVERITIES = ("note", "caution", "urgent")


class AlertsQuery(serializers.Serializer[Any]):
    """Which alerts?"""

    rule = serializers.CharField(max_length=40, required=False)
    state = serializers.ChoiceField(
        choices=STATES, required=False, help_text="open: raised or seen; suspected and lapsed: for curators"
    )
    severity = serializers.ChoiceField(
        choices=SEVERITIES, required=False, help_text="the least that is listed"
    )
    model = serializers.CharField(max_length=120, required=False, help_text="the pump model's name")
    clinic = serializers.CharField(
        max_length=40, required=False, help_text="the code of the clinic it is about"
    )
    shadow = serializers.BooleanField(
        required=False, default=False, help_text="alerts of rules on trial, for curators"
    )


class DismissForm(Strict):
    """Why an alert is none. The reason is told to all, the note to curators; `other` needs a note."""

    reason = serializers.ChoiceField(choices=DismissReason.choices)
    note = Prose(max_length=300, required=False, allow_blank=True, default="")


class ClosedDocument(serializers.Serializer[Any]):
    """When and why an alert ended."""

    at = serializers.DateTimeField()
    why = serializers.CharField()
    reason = serializers.ChoiceField(choices=DismissReason.choices, allow_null=True)
    note = serializers.CharField(allow_null=True, help_text="a curator's own words, for curators")


class AlertDocument(serializers.Serializer[Any]):
    """What stood out, with the evidence as it was."""

    id = serializers.IntegerField()
    rule = serializers.CharField()
    rule_version = serializers.IntegerField()
    shadow = serializers.BooleanField(help_text="of a version on trial: nobody is told")
    severity = serializers.ChoiceField(choices=SEVERITIES)
    subject = serializers.DictField(child=serializers.CharField())
    state = serializers.ChoiceField(choices=AlertState.choices)
    since = serializers.DateTimeField(help_text="when the effect began, or else was first suspected")
    raised_at = serializers.DateTimeField(allow_null=True)
    confidence = serializers.FloatField(help_text="one less the share of false ones among such alerts")
    says = serializers.CharField()
    why = serializers.ListField(
        child=serializers.CharField(), help_text="the figures against the limits, in words"
    )
    advice = serializers.CharField(help_text="what to do")
    evidence = serializers.DictField()
    closed = ClosedDocument(allow_null=True)
    cautions = serializers.ListField(child=serializers.CharField())


class RuleDocument(serializers.Serializer[Any]):
    """A version of a rule, its limits and floors, and what became of its alerts."""

    rule = serializers.CharField()
    version = serializers.IntegerField()
    stage = serializers.ChoiceField(choices=RuleStage.choices)
    subject_kind = serializers.CharField(allow_blank=True)
    severity = serializers.CharField(allow_blank=True)
    advice = serializers.CharField(allow_blank=True)
    limits = serializers.DictField()
    raised = serializers.IntegerField()
    open = serializers.IntegerField()
    settled = serializers.IntegerField()
    dismissed = serializers.IntegerField()
    dismissed_by_reason = serializers.DictField(child=serializers.IntegerField())
    dismissed_share = serializers.FloatField(allow_null=True, help_text="of the alerts that have ended")
    in_shadow = serializers.IntegerField(help_text="alerts raised on trial, which nobody was told")


class RulesDocument(serializers.Serializer[Any]):
    """All rules in order of precedence, the reasons a dismissal takes, and how chance is judged."""

    results = RuleDocument(many=True)
    reasons = serializers.DictField(child=serializers.CharField())
    false_discovery_rate = serializers.FloatField()
    ends_at = serializers.FloatField(help_text="an alert ends when its share of false ones reaches this")


class ExplanationQuery(serializers.Serializer[Any]):
    """Why was, or was not, an alert raised? A run, or a unit, or a gauge."""

    run = serializers.IntegerField(min_value=1, max_value=2**63 - 1, required=False)
    model = serializers.CharField(max_length=120, required=False, help_text="with serial: a unit")
    serial = serializers.CharField(max_length=60, required=False)
    gauge = serializers.CharField(max_length=81, required=False, help_text="CLINIC/CODE")


class ExplainedDocument(serializers.Serializer[Any]):
    """What one rule made of one thing."""

    rule = serializers.CharField()
    rule_version = serializers.IntegerField()
    subject = serializers.DictField(child=serializers.CharField())
    outcome = serializers.CharField(help_text="in words; what cannot be judged is never called fine")
    alert = serializers.IntegerField(allow_null=True, help_text="the number of the alert, if one was raised")
    says = serializers.CharField()
    lacks = serializers.CharField(allow_blank=True, help_text="what is missing to judge it")
    why = serializers.ListField(child=serializers.CharField())
    p = serializers.FloatField(allow_null=True, help_text="its chance, charged for repeated looks")
    q = serializers.FloatField(allow_null=True, help_text="the share of false ones among all as unlikely")
    evidence = serializers.DictField()
    looked_at = serializers.DateTimeField(allow_null=True)


class ExplanationUnit(serializers.Serializer[Any]):
    """The unit that is explained."""

    pump_model = serializers.CharField()
    serial = serializers.CharField()


class ExplanationDocument(serializers.Serializer[Any]):
    """What every rule made of a run's unit, gauge, clinic and build, when it last looked."""

    run = serializers.IntegerField(required=False)
    state = serializers.CharField(required=False, help_text="of the run")
    unit = ExplanationUnit(allow_null=True)
    rules = ExplainedDocument(many=True)
    notes = serializers.ListField(child=serializers.CharField())
    says = serializers.CharField()
    cautions = serializers.ListField(child=serializers.CharField())

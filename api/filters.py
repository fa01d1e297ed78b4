"""Filters that several lists share. A value that cannot be meant is refused, never passed over."""

from typing import Any

import django_filters
from django import forms
from django.db.models import QuerySet

from registry.models.lookup import find_clinic, find_pump_model, find_revision, known_gauge, known_label
from registry.models.serials import bare, tidy


class ModelFilter(django_filters.CharFilter):
    """What is of one pump model, by its name; an unknown one is refused."""

    def __init__(self, field_name: str = "pump_model") -> None:
        super().__init__(field_name, label="pump model")

    def filter(self, qs: QuerySet[Any], value: str) -> QuerySet[Any]:
        """Keep the records of that model. Raises UnknownPumpModel."""
        return qs.filter(**{self.field_name: find_pump_model(value)}) if value else qs


class RevisionFilter(django_filters.CharFilter):
    """What is of a revision, by its label: of the pump model that is asked for too, else of any."""

    def filter(self, qs: QuerySet[Any], value: str) -> QuerySet[Any]:
        """Keep the records of that revision. Raises Invalid where there is none of that label."""
        if not value:
            return qs
        model = self.parent.form.cleaned_data.get("model")
        if model:
            return qs.filter(**{self.field_name: find_revision(find_pump_model(model), value)})
        return qs.filter(**{f"{self.field_name}__label__iexact": known_label(value)})


class ClinicFilter(django_filters.CharFilter):
    """What is of one clinic, by its code; an unknown one is refused."""

    def filter(self, qs: QuerySet[Any], value: str) -> QuerySet[Any]:
        """Keep the records of that clinic. Raises Invalid."""
        return qs.filter(**{self.field_name: find_clinic(value)}) if value else qs


class GaugeFilter(django_filters.CharFilter):
    """What was read with gauges of a code; one that no clinic has is refused."""

    def filter(self, qs: QuerySet[Any], value: str) -> QuerySet[Any]:
        """Keep the records of gauges of that code. Raises Invalid."""
        return qs.filter(**{f"{self.field_name}__iexact": known_gauge(value)}) if value else qs


class SerialFilter(django_filters.CharFilter):
    """A serial is found however it was typed. One that nobody uploaded is no mistake: it has no records."""

    def __init__(self, field_name: str) -> None:
        super().__init__(field_name, label="serial, blanks and dashes as you like")

    def filter(self, qs: QuerySet[Any], value: str) -> QuerySet[Any]:
        """Keep the records of that serial; all of them when none was asked for."""
        return qs.filter(**{f"{self.field_name}__in": {tidy(value), bare(value)}}) if value else qs


class TrueOrFalse(forms.CharField):
    """ "true" or "false" in any capitals; the usual field takes any other word as neither."""

    def to_python(self, value: Any) -> Any:
        """Return a truth value, None when nothing was said. Raises a validation error."""
        word = (super().to_python(value) or "").lower()
        if word not in ("", "true", "false"):
            raise forms.ValidationError('must be "true" or "false"')
        return {"true": True, "false": False}.get(word)


class TruthFilter(django_filters.BooleanFilter):
    """A yes-or-no question to a list."""

    field_class = TrueOrFalse

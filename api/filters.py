"""Filters that several lists share. A value that cannot be meant is refused, never passed over."""

from typing import Any

import django_filters
from django import forms
from django.db.models import QuerySet

from registry.models.serials import bare, tidy


class SerialFilter(django_filters.CharFilter):
    """A serial is found however it was typed."""

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

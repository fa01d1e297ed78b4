"""Forms that take what they know and nothing else."""

from collections.abc import Iterator
from typing import Any

from rest_framework import serializers

from registry.plaintext import NAME_RULE, is_name


class Prose(serializers.CharField):
    """What a person says in their own words: kept as it was sent, made harmless where it is shown."""


class Strict(serializers.Serializer[Any]):
    """Refuses keys it does not know, and texts other than prose that no name may hold."""

    def to_internal_value(self, data: Any) -> Any:
        unknown = set(data) - set(self.fields) if isinstance(data, dict) else set()
        if unknown:
            raise serializers.ValidationError({key: ["unknown key"] for key in sorted(unknown)})
        found = super().to_internal_value(data)
        names = ((key, _names(field, found.get(key))) for key, field in self.fields.items())
        wrong = {key: [NAME_RULE] for key, texts in names if not all(map(is_name, texts))}
        if wrong:
            raise serializers.ValidationError(wrong)
        return found


def _names(field: Any, value: Any) -> Iterator[str]:
    """The texts in the value of a field that names are made of; forms within look after their own."""
    if isinstance(field, serializers.CharField) and not isinstance(field, Prose):
        yield str(value or "")
    elif isinstance(field, serializers.ListField):
        for item in value or ():
            yield from _names(field.child, item)
    elif isinstance(field, serializers.DictField):
        for key, item in (value or {}).items():
            yield str(key)
            yield from _names(field.child, item)

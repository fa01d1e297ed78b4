"""Forms that take what they know and nothing else."""

from typing import Any

from rest_framework import serializers


class Strict(serializers.Serializer[Any]):
    """Refuses keys it does not know."""

    def to_internal_value(self, data: Any) -> Any:
        unknown = set(data) - set(self.fields) if isinstance(data, dict) else set()
        if unknown:
            raise serializers.ValidationError({key: ["unknown key"] for key in sorted(unknown)})
        return super().to_internal_value(data)

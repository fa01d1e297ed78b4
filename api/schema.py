"""What the OpenAPI schema says of every operation beside its own answer: the problem documents."""

from typing import Any

from drf_spectacular.extensions import OpenApiAuthenticationExtension
from drf_spectacular.openapi import AutoSchema
from rest_framework import serializers

from api.problems import CONTENT_TYPE, STATUS


class TokenSignInScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    """How the schema describes signing in."""

    target_class = "api.authentication.TokenSignIn"
    name = "token"

    def get_security_definition(self, auto_schema: Any) -> dict[str, str]:
        """An API key in the Authorization header."""
        return {"type": "apiKey", "in": "header", "name": "Authorization", "description": "Token TOKEN"}


class FaultDocument(serializers.Serializer[Any]):
    """One thing wrong with the input."""

    message = serializers.CharField()
    field = serializers.CharField(required=False)
    line = serializers.IntegerField(required=False)


class ProblemDocument(serializers.Serializer[Any]):
    """A refusal, after RFC 9457. Programs branch on `code`; people read `detail` and `hint`."""

    type = serializers.CharField()
    title = serializers.CharField()
    status = serializers.IntegerField()
    code = serializers.ChoiceField(choices=sorted(STATUS))
    detail = serializers.CharField()
    hint = serializers.CharField()
    errors = FaultDocument(many=True)  # type: ignore[assignment]
    request_id = serializers.CharField()
    nearest = serializers.ListField(child=serializers.CharField(), required=False)
    reason = serializers.CharField(required=False)


class ProblemSchema(AutoSchema):
    """Adds the problem documents any operation may answer with."""

    def get_operation(self, *args: Any, **kwargs: Any) -> dict[str, Any] | None:
        operation = super().get_operation(*args, **kwargs)
        if operation is not None:
            reference = self.resolve_serializer(ProblemDocument, "response").ref
            for status in sorted(set(STATUS.values())):
                operation["responses"].setdefault(
                    str(status),
                    {"description": "problem document", "content": {CONTENT_TYPE: {"schema": reference}}},
                )
        return operation

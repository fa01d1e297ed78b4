"""Who is asking."""

from typing import cast

from rest_framework.request import Request

from registry.models import Operator


def viewer_of(request: Request) -> Operator | None:
    """Return the operator who signed in, or None."""
    return request.user if request.user.is_authenticated else None


def operator_of(request: Request) -> Operator:
    """Return the operator who signed in; the view's permission has made sure there is one."""
    return cast(Operator, request.user)

"""Who may do what."""

from typing import TYPE_CHECKING

from django.conf import settings
from rest_framework.permissions import BasePermission
from rest_framework.request import Request

if TYPE_CHECKING:  # views import the settings, which import this module
    from rest_framework.views import APIView


class MayRead(BasePermission):
    """Community answers are open to all, unless the installation asks readers to sign in."""

    def has_permission(self, request: Request, view: "APIView") -> bool:
        return settings.VACUARY_READS_OPEN or request.user.is_authenticated


class IsOperator(BasePermission):
    """Uploading needs a token."""

    def has_permission(self, request: Request, view: "APIView") -> bool:
        return request.user.is_authenticated


class IsCurator(BasePermission):
    """Revisions and serial spans are changed by curators only."""

    message = "This needs the curator role."

    def has_permission(self, request: Request, view: "APIView") -> bool:
        return request.user.is_authenticated and getattr(request.user, "is_curator", False)

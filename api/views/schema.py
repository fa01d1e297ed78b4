"""The OpenAPI schema."""

from drf_spectacular.views import SpectacularAPIView
from rest_framework.permissions import AllowAny

from api.queries import StrictQuery


class Schema(StrictQuery, SpectacularAPIView):
    """What can be asked and what is answered (OpenAPI 3.1, as JSON or YAML)."""

    permission_classes = (AllowAny,)

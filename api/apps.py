"""The REST API as a Django application."""

from django.apps import AppConfig


class ApiConfig(AppConfig):
    """Views, serializers and problem documents; stores nothing of its own."""

    name = "api"

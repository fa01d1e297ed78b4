"""The registry as a Django application."""

from django.apps import AppConfig


class RegistryConfig(AppConfig):
    """Everything stored and answered lives under this one label."""

    name = "registry"

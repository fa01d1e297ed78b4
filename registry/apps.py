"""The registry as a Django application."""

from typing import Any

from django.apps import AppConfig
from django.db.models.signals import post_migrate


class RegistryConfig(AppConfig):
    """Everything stored and answered lives under this one label."""

    name = "registry"

    def ready(self) -> None:
        post_migrate.connect(_know_editions, sender=self)


def _know_editions(sender: RegistryConfig, using: str, **_: Any) -> None:
    """Every edition the program can measure has its row; on a new database the first one is current.

    Which edition is current is the keeper's choice afterwards, so a row that exists is left alone.
    """
    from registry.waveform.editions import EDITIONS  # noqa: PLC0415 - models load before the numerics

    edition = sender.get_model("Edition")._default_manager.using(using)  # noqa: SLF001
    known = set(edition.values_list("number", flat=True))
    for number in sorted(set(EDITIONS) - known):
        edition.create(number=number, is_current=not known and number == min(EDITIONS))

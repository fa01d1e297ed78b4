"""manage.py make_ahead: what answers are made of, for all pump models, without waiting for a worker."""

from typing import Any

from django.core.management.base import BaseCommand

from registry.answers.served.ahead import make_ahead


class Command(BaseCommand):
    """Makes the parts of answers that are missing or out of date, however long it takes."""

    help = "Make what answers are made of ahead, as workers do; of use after loading much at once."

    def handle(self, *args: Any, **options: Any) -> None:
        self.stdout.write(f"{make_ahead(calm_s=0)} parts of answers made.")

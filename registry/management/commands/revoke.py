"""manage.py revoke: end an operator's tokens."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from registry.errors import DomainError
from registry.intake.enrol import revoke


class Command(BaseCommand):
    """All tokens of the operator stop working at once; what was uploaded stays."""

    help = "End all tokens of an operator."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--clinic", required=True, metavar="CODE")
        parser.add_argument("--operator", required=True, metavar="NAME")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            count = revoke(options["clinic"], options["operator"])
        except DomainError as error:
            raise CommandError(str(error)) from error
        self.stdout.write(f"{count} token{'s' if count != 1 else ''} revoked")

"""manage.py enrol: make clinic, operator and token."""

import json
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import OperationalError, ProgrammingError

from registry.errors import DomainError
from registry.intake.enrol import enrol


class Command(BaseCommand):
    """Prints the new token once; it is stored as a hash only."""

    help = "Make a clinic and an operator if needed, and a new token for that operator."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--clinic", required=True, metavar="CODE")
        parser.add_argument("--operator", required=True, metavar="NAME", help="a pseudonym, not a real name")
        parser.add_argument("--curator", action="store_true", help="may change the catalogue")
        parser.add_argument("--json", action="store_true", help="print one JSON object")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            operator, token = enrol(options["clinic"], options["operator"], curator=options["curator"])
        except DomainError as error:
            raise CommandError(f"{error}. {error.hint}") from error
        except ProgrammingError as error:
            raise CommandError(
                "The database is not set up yet: start the server first (make serve), or manage.py migrate"
            ) from error
        except OperationalError as error:
            raise CommandError(f"The database cannot be reached. {error}") from error
        if options["json"]:
            answer = {"clinic": operator.clinic.code, "operator": operator.pseudonym, "token": token}
            self.stdout.write(json.dumps(answer))
            return
        role = "curator" if operator.is_curator else "operator"
        self.stdout.write(
            f"{role} {operator.pseudonym} at {operator.clinic.code}\ntoken {token}\n"
            "Keep the token safe: it cannot be shown again. To end it: manage.py revoke "
            f"--clinic {operator.clinic.code} --operator {operator.pseudonym}"
        )

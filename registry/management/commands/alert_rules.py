"""manage.py alert_rules: which rules tell, which are on trial, and promoting one that has proved itself."""

import json
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from registry.alerts.ruled import rules_document
from registry.alerts.stages import compared, promote
from registry.errors import DomainError


class Command(BaseCommand):
    """Lists the rules; compares a version on trial with the one that tells; promotes it."""

    help = "List alert rules, compare a version that runs in shadow with the live one, or promote it."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--compare", nargs=2, metavar=("RULE", "VERSION"))
        parser.add_argument("--promote", nargs=2, metavar=("RULE", "VERSION"))
        parser.add_argument("--by", default="", metavar="NAME", help="who promotes; needed with --promote")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            self.stdout.write(json.dumps(_answer(options), indent=2))
        except DomainError as error:
            raise CommandError(str(error)) from error


def _answer(options: dict[str, Any]) -> Any:
    if options["promote"]:
        name, version = options["promote"]
        if not options["by"]:
            raise CommandError("Say who promotes: --by NAME")
        found = compared(name, _number(version))
        promote(name, _number(version), options["by"])
        return {**found, "stage": "live"}
    if options["compare"]:
        name, version = options["compare"]
        return compared(name, _number(version))
    shown = ("rule", "version", "stage", "raised", "dismissed_share", "in_shadow")
    return [{key: row[key] for key in shown} for row in rules_document()["results"]]


def _number(text: str) -> int:
    if not text.isdigit():
        raise CommandError(f"'{text}' is no version: give a whole number")
    return int(text)

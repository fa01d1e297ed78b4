"""Runs `manage.py enrol` for several people in one process: a Python start a person would take the longest.

Reads a JSON list of argument lists on stdin; prints what `enrol --json` prints, a line a person.
"""

import json
import os
import sys
from collections.abc import Sequence

import django
from django.core.management import call_command


def main(people: Sequence[Sequence[str]]) -> None:
    """Enrol everyone; each entry holds one `enrol`'s arguments. Raises CommandError as the command does."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "registry.config.settings")
    django.setup()
    for arguments in people:
        call_command("enrol", *arguments, "--json")


if __name__ == "__main__":
    main(json.load(sys.stdin))

"""`make trial`: answers tried on simulated communities of known truth. Exit 1 when a promise is not held."""

import argparse
import os
import sys
import time
from collections.abc import Callable

import django

from tests.trial.report import Section


def sections() -> tuple[Callable[[int, int], Section], ...]:
    """All sections, loaded once Django knows its models: what alerts are made of names some of them."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "registry.config.settings")
    django.setup()
    from tests.trial import (  # noqa: PLC0415
        alerts,
        benches,
        centres,
        comparing,
        identify,
        stated,
        unlisted,
        unlisted_other,
    )

    return (
        centres.section,
        benches.section,
        comparing.section_compared,
        comparing.section_swapped,
        stated.section,
        identify.section,
        unlisted.section_unchanged,
        unlisted.section_changed,
        unlisted.section_replayed,
        unlisted_other.section,
        alerts.section,
    )


def main() -> int:
    """Print each section as it is done."""
    parser = argparse.ArgumentParser(prog="python -m tests.trial", description=__doc__)
    parser.add_argument("--communities", type=int, default=2000, help="of each kind (default: 2000)")
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    broken = 0
    for section in sections():
        begun = time.monotonic()
        found = section(asked.communities, asked.seed).of(asked.communities)
        print(found.text())
        print(f"({time.monotonic() - begun:.0f} s)\n", flush=True)
        broken += sum(not check.is_held for check in found.checks)
    print("All as promised." if not broken else f"{broken} promises are not held.")
    return 1 if broken else 0


if __name__ == "__main__":
    sys.exit(main())

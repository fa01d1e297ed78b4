"""What every answer carries: under which edition and as of when it was worked out."""

from typing import Any

from django.utils import timezone

from registry.models import Edition


def current_edition() -> int:
    """The number of the edition answers are made under. Raises Edition.DoesNotExist before set-up."""
    return Edition.objects.only("number").get(is_current=True).number


def stamp(edition: int) -> dict[str, Any]:
    """`edition` and `as_of` (ISO 8601, UTC): summaries change with each run, so now is as of when."""
    return {"edition": edition, "as_of": timezone.now().isoformat(timespec="seconds")}

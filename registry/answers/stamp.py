"""What every answer carries: under which edition and as of when it was worked out."""

from datetime import UTC, datetime
from typing import Any

from django.db import connection
from django.utils import timezone

from registry.errors import Fault, Invalid
from registry.models import Edition


def current_edition() -> int:
    """The number of the edition answers are made under. Raises Edition.DoesNotExist before set-up."""
    # Every answer asks this, and putting the question together would cost more than asking it.
    with connection.cursor() as cursor:
        cursor.execute("SELECT number FROM registry_edition WHERE is_current")
        found = cursor.fetchone()
    if found is None:
        raise Edition.DoesNotExist("No edition is current")
    return int(found[0])


def chosen_edition(edition: int | None) -> int:
    """Return the edition asked for, or the current one. Raises Invalid on the field `edition`."""
    if edition is None:
        return current_edition()
    known = list(Edition.objects.order_by("number").values_list("number", flat=True))
    if edition in known:
        return edition
    raise Invalid(
        f"There is no edition {edition}",
        hint=f"Known editions: {', '.join(map(str, known))}.",
        faults=(Fault("not a known edition", field="edition"),),
    )


def chosen_moment(as_of: datetime | None) -> datetime | None:
    """Return the past time asked for, None for now; without a zone it is UTC.

    Raises Invalid on the field `as_of` for a time to come.
    """
    if as_of is None:
        return None
    moment = as_of if timezone.is_aware(as_of) else as_of.replace(tzinfo=UTC)
    if moment <= timezone.now():
        return moment
    raise Invalid(
        "as_of: lies in the future",
        hint="Answers can be made again as of a past time; leave as_of out for now.",
        faults=(Fault("lies in the future", field="as_of"),),
    )


def stamp(edition: int, moment: datetime | None = None) -> dict[str, Any]:
    """`edition` and `as_of` (ISO 8601, UTC, to the microsecond, so that asking for it again finds it).

    Summaries change with each run, so an answer of now is as of now: call this before reading them.
    """
    return {"edition": edition, "as_of": (moment or timezone.now()).astimezone(UTC).isoformat()}

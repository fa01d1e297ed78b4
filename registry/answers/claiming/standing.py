"""The claims of a pump model as they stand, or stood."""

from datetime import datetime
from typing import Any

from django.apps import apps

from registry.models import Claim, PumpModel

CLAIMED = ("metric", "relation", "unit", "mode", "programme", "level", "source", "value")


def standing_claims(
    pump_model: PumpModel, moment: datetime | None
) -> tuple[list[Claim], dict[int, datetime]]:
    """Return the claims as they stand or, at a past time, stood; and when each was entered so.

    By the history of curated records, which keeps no removals.
    """
    claims = {claim.pk: claim for claim in pump_model.claims.select_related("said_by__clinic").order_by("id")}
    events = apps.get_model("registry", "ClaimEvent").objects.filter(pgh_obj__in=claims)
    if moment is not None:
        events = events.filter(pgh_created_at__lte=moment)
    last = {event.pgh_obj_id: event for event in events.order_by("pgh_id")}
    if moment is not None:
        claims = {key: _as_stood(claim, last[key]) for key, claim in claims.items() if key in last}
    return list(claims.values()), {key: event.pgh_created_at for key, event in last.items()}


def _as_stood(claim: Claim, event: Any) -> Claim:
    """A claim with what an event of its history says of it; who entered it is who does today."""
    for name in CLAIMED:
        setattr(claim, name, getattr(event, name))
    return claim

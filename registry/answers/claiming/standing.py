"""The claims of a pump model as they stand, or stood."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.apps import apps

from registry.models import Claim, Operator, PumpModel

CLAIMED = ("metric", "relation", "unit", "mode", "programme", "level", "source", "value")
_REMOVED = "delete"


def standing_claims(
    pump_model: PumpModel, moment: datetime | None
) -> tuple[list[Claim], dict[int, datetime]]:
    """Return the claims as they stand or, at a past time, stood; and when each was entered so."""
    events = apps.get_model("registry", "ClaimEvent").objects.filter(pump_model=pump_model)
    if moment is not None:
        events = events.filter(pgh_created_at__lte=moment)
    last = {event.pgh_obj_id: event for event in events.order_by("pgh_id")}
    if moment is None:
        claims = list(pump_model.claims.select_related("said_by__clinic").order_by("id"))
    else:
        claims = _as_stood(last)
    return claims, {claim.pk: last[claim.pk].pgh_created_at for claim in claims if claim.pk in last}


def _as_stood(last: Mapping[int, Any]) -> list[Claim]:
    """The claims by the last event of each: those that were not removed by then."""
    stood = {key: event for key, event in sorted(last.items()) if event.pgh_label != _REMOVED}
    people = Operator.objects.select_related("clinic").in_bulk({of.said_by_id for of in stood.values()})
    return [
        Claim(
            pk=key,
            pump_model_id=event.pump_model_id,
            said_by=people.get(event.said_by_id),
            **{name: getattr(event, name) for name in CLAIMED},
        )
        for key, event in stood.items()
    ]

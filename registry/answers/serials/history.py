"""Who changed what of a pump model's catalogue, when, from what to what: in words, newest first."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import connection

from registry.models import PumpModel

# Each kept row of a record beside the one before it; the catalogue's triggers write them.
_EVENTS = """
WITH kept AS (
    SELECT 'span' AS kind, e.pgh_id, e.pgh_created_at AS at, e.pgh_label AS label,
           e.pgh_context_id AS context, e.first || ' to ' || e.last AS name,
           jsonb_build_object('revision', (SELECT label FROM registry_revision r WHERE r.id = e.revision_id),
                              'basis', e.basis, 'source', e.source) AS now,
           e.pgh_obj_id AS record
    FROM registry_serialspanevent e WHERE e.pump_model_id = %(model)s
    UNION ALL
    SELECT 'revision', e.pgh_id, e.pgh_created_at, e.pgh_label, e.pgh_context_id, e.label,
           jsonb_build_object('order', e."order", 'firmware', to_jsonb(e.firmware), 'marks', e.marks),
           e.pgh_obj_id
    FROM registry_revisionevent e WHERE e.pump_model_id = %(model)s
    UNION ALL
    SELECT 'serial_scheme', e.pgh_id, e.pgh_created_at, e.pgh_label, e.pgh_context_id, e.pattern,
           jsonb_build_object('order', to_jsonb(e."order"), 'position', e.position, 'date', e.date,
                              'plant', e.plant, 'era', e.era),
           e.pgh_obj_id
    FROM registry_serialschemeevent e WHERE e.pump_model_id = %(model)s
    UNION ALL
    SELECT 'claim', e.pgh_id, e.pgh_created_at, e.pgh_label, e.pgh_context_id,
           concat_ws(' ', replace(e.metric, '_', ' '), e.relation, 'at ' || nullif(concat_ws(' ',
               nullif(e.mode, ''), nullif(e.programme, ''), nullif(e.level, '')), '')),
           jsonb_build_object('value', e.value, 'unit', e.unit, 'source', e.source),
           e.pgh_obj_id
    FROM registry_claimevent e WHERE e.pump_model_id = %(model)s
), told AS (
    SELECT kept.*, lag(now) OVER (PARTITION BY kind, record ORDER BY pgh_id) AS before FROM kept
)
SELECT told.at, told.kind, told.name, told.label, told.before, told.now, context.metadata,
       decided.handle, proposal.why
FROM told
LEFT JOIN pghistory_context context ON context.id = told.context
LEFT JOIN registry_proposal proposal ON proposal.id = (context.metadata ->> 'proposal')::bigint
LEFT JOIN registry_operator decided ON decided.id = proposal.proposed_by_id
ORDER BY told.at DESC, told.kind, told.pgh_id DESC
LIMIT %(limit)s OFFSET %(offset)s
"""
_DONE = {"insert": "created", "update": "changed", "delete": "removed"}


@dataclass(frozen=True)
class _Event:
    at: datetime
    kind: str
    name: str
    label: str
    before: Mapping[str, Any] | None
    now: Mapping[str, Any]
    context: Mapping[str, Any]
    proposer: str | None
    why: str | None


def catalogue_history(model: PumpModel, limit: int, offset: int = 0) -> list[dict[str, Any]]:
    """Return what was done to a model's spans, revisions, schemes and claims, `limit` rows from `offset` on.

    Each row: at, kind, name, action, by (a handle), before, after and says; for what came by a proposal also
    its number, who proposed it, and why.
    """
    with connection.cursor() as cursor:
        cursor.execute(_EVENTS, {"model": model.pk, "limit": limit, "offset": offset})
        rows = cursor.fetchall()
    return [_row(_Event(*row[:4], *map(_read, row[4:7]), *row[7:])) for row in rows]


def _read(value: Any) -> Any:
    """JSON comes from a bare cursor as its text."""
    return json.loads(value) if isinstance(value, str) else value


def _row(event: _Event) -> dict[str, Any]:
    action = _DONE.get(event.label, event.label)
    before = event.before if action == "changed" else event.now if action == "removed" else None
    after = None if action == "removed" else event.now
    by = event.context.get("operator") if event.context else None
    return {
        "at": event.at,
        "kind": event.kind,
        "name": event.name,
        "action": action,
        "by": by,
        "proposed_by": event.proposer,
        "proposal": event.context.get("proposal") if event.context else None,
        "why": event.why,
        "before": before,
        "after": after,
        "says": _says(event, action, before, after, by),
    }


def _says(
    event: _Event,
    action: str,
    before: Mapping[str, Any] | None,
    after: Mapping[str, Any] | None,
    by: str | None,
) -> str:
    what = f"{event.kind.replace('_', ' ')} {event.name} {action}"
    if before and after:
        moved = [
            f"{key} from {_shown(before[key])} to {_shown(after[key])}"
            for key in after
            if before.get(key) != after[key]
        ]
        what += f": {'; '.join(moved)}" if moved else ""
    elif event.kind == "span":
        held = after or before or {}
        what += f" ({held.get('basis')} as revision {held.get('revision')}, {held.get('source')})"
    elif event.kind == "claim":
        held = after or before or {}
        what += f" ({held.get('value')} {held.get('unit')}, {held.get('source')})"
    who = f" by {by}" if by else ""
    who += f", proposed by {event.proposer}: {event.why}" if event.proposer else ""
    return f"{what}{who}."


def _shown(value: Any) -> str:
    if isinstance(value, dict):
        return ", ".join(f"{key} {one}" for key, one in value.items()) or "none"
    if isinstance(value, list):
        return ", ".join(map(str, value)) or "none"
    return "none" if value in (None, "") else str(value)

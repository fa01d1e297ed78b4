"""What runs and units were before: enough to make an old answer again.

Triggers of the database write these rows, so nothing that changes a run or a unit can forget to. Each holds
what was so until its time; what held at a time is in the first row after it, or else still holds.
"""

from typing import Any

import pghistory
from django.db import models

from registry.models.bench import Unit
from registry.models.runs import Run


def _before(tracked: type[models.Model], label: str, field: str) -> Any:
    """The base of a model that keeps what `field` of `tracked` was before each change."""
    return pghistory.create_event_model(
        tracked,
        pghistory.UpdateEvent(label, condition=pghistory.AnyChange(field), row=pghistory.Old),
        fields=[field],
        obj_field=pghistory.ObjForeignKey(related_name="+", db_index=False),
        context_field=None,  # type: ignore[arg-type]
    )


_RUN: Any = _before(Run, "state_changed", "state")
_UNIT: Any = _before(Unit, "revision_changed", "revision")


class RunWas(_RUN):
    """The state a run was in until `pgh_created_at`."""

    class Meta:
        indexes = (models.Index(fields=["pgh_obj", "pgh_id"], name="what_a_run_was"),)


class UnitWas(_UNIT):
    """The revision a unit was taken to be of until `pgh_created_at`."""

    class Meta:
        indexes = (models.Index(fields=["pgh_obj", "pgh_id"], name="what_a_unit_was"),)

"""Stored proposals, and requests that find them, for the tests of the schema."""

from copy import deepcopy
from typing import Any

from registry.intake.enrol import enrol
from registry.intake.proposals import propose
from registry.models import PumpModel
from tests.declared import CATALOGUE, MODEL
from tests.intake.test_proposals import MOVED


def of_proposals() -> dict[str, dict[str, Any]]:
    """Let another curator propose; returns parameters and bodies by operation id."""
    other = enrol("brackwater", "bracken", curator=True)[0]
    first, second = propose(other, MODEL, MOVED), propose(other, MODEL, {**MOVED, "why": "once more"})
    file = deepcopy(CATALOGUE)
    file["pump_model"][0]["revision"][1]["span"][0]["last"] = "LK008999"
    json = {"media_type": "application/json"}
    return {
        "proposals_list": {"query": {"page_size": 1, "model": MODEL, "state": "open"}},
        "proposals_retrieve": {"path_parameters": {"id": str(first.pk)}},
        "proposals_propose": {"body": {"pump_model": MODEL, **MOVED}, **json},
        "proposals_from_catalogue": {"body": {**file, "why": "it went on"}, **json},
        "proposals_confirm": {"path_parameters": {"proposal_id": first.pk}},
        "proposals_reject": {
            "path_parameters": {"proposal_id": second.pk}, "body": {"reason": "no"}, **json
        },
        "pump_models_history": {"path_parameters": {"model_id": PumpModel.objects.get(name=MODEL).pk}},
    }  # fmt: skip

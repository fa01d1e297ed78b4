"""What nearly every answer about a pump model asks first, in one statement."""

from dataclasses import dataclass

from django.db import connection

from registry.models.lookup import find_pump_model

_ABOUT = """
SELECT id, name, (SELECT number FROM registry_edition WHERE is_current),
       ARRAY(SELECT id FROM registry_revision WHERE pump_model_id = model.id ORDER BY "order", id),
       ARRAY(SELECT label FROM registry_revision WHERE pump_model_id = model.id ORDER BY "order", id)
FROM registry_pumpmodel model
"""
_NAMED = f"{_ABOUT} WHERE upper(name) = upper(%s)"
_KEYED = f"{_ABOUT} WHERE id = %s"


@dataclass(frozen=True)
class About:
    """A pump model's key and name, the current edition, and the labels of its revisions by key, in order."""

    pk: int
    name: str
    edition: int
    revisions: dict[int, str]


def about_named(name: str) -> About:
    """Return what there is to say of the pump model of that name. Raises UnknownPumpModel."""
    tidied = " ".join(name.split())
    return _about(_NAMED, tidied) or about(find_pump_model(tidied).pk)


def about(pump_model: int) -> About:
    """The same by key. Raises LookupError."""
    found = _about(_KEYED, pump_model)
    if found is None:
        raise LookupError(f"no pump model {pump_model}")
    return found


def _about(statement: str, of: str | int) -> About | None:
    with connection.cursor() as cursor:
        cursor.execute(statement, [of])
        row = cursor.fetchone()
    if row is None:
        return None
    model, name, edition, keys, labels = row
    return About(model, name, edition, dict(zip(keys, labels, strict=True)))

"""What a pump model is called, and its revisions, as cells name them."""

from dataclasses import dataclass

from django.db import connection

_ABOUT = """
SELECT id, name,
       ARRAY(SELECT id FROM registry_revision WHERE pump_model_id = model.id ORDER BY "order", id),
       ARRAY(SELECT label FROM registry_revision WHERE pump_model_id = model.id ORDER BY "order", id)
FROM registry_pumpmodel model WHERE id = %s
"""


@dataclass(frozen=True)
class About:
    """A pump model's key and name, and the labels of its revisions by key, in order."""

    pk: int
    name: str
    revisions: dict[int, str]


def about_model(pump_model: int) -> About:
    """Return what there is to say of a pump model, in one query. Raises LookupError."""
    with connection.cursor() as cursor:
        cursor.execute(_ABOUT, [pump_model])
        row = cursor.fetchone()
    if row is None:
        raise LookupError(f"no pump model {pump_model}")
    model, name, keys, labels = row
    return About(model, name, dict(zip(keys, labels, strict=True)))

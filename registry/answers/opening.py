"""What every serial question begins with, in one query: the model, its schemes, and the current edition."""

import json
from dataclasses import dataclass

from django.db import connection

from registry.answers.stamp import current_edition
from registry.models import PumpModel, SerialScheme
from registry.models.lookup import find_pump_model

_MODEL = """
SELECT model.id, model.name, edition.number, scheme.id, scheme.pattern, scheme."order", scheme.date,
       scheme.plant, scheme.era
FROM registry_pumpmodel model
LEFT JOIN registry_edition edition ON edition.is_current
LEFT JOIN registry_serialscheme scheme ON scheme.pump_model_id = model.id
WHERE upper(model.name) = upper(%s) ORDER BY scheme.position, scheme.id
"""


@dataclass(frozen=True)
class Opening:
    """A pump model with its serial schemes in order, and the edition answers are made under."""

    pump_model: PumpModel
    schemes: list[SerialScheme]
    edition: int


def open_question(name: str) -> Opening:
    """Return what a question about the model of that name starts from. Raises UnknownPumpModel."""
    with connection.cursor() as cursor:
        cursor.execute(_MODEL, [" ".join(name.split())])
        rows = cursor.fetchall()
    if not rows or rows[0][2] is None:
        return Opening(find_pump_model(name), [], current_edition())
    model = PumpModel(id=rows[0][0], name=rows[0][1])
    schemes = [
        SerialScheme(
            id=row[3], pump_model=model, pattern=row[4], order=row[5],
            date=json.loads(row[6]) if isinstance(row[6], str) else row[6], plant=row[7], era=row[8],
        )
        for row in rows
        if row[3] is not None
    ]  # fmt: skip
    return Opening(model, schemes, rows[0][2])

"""What nearly every answer asks first: the current edition, and the pump models of those names with their
revisions. Who looks for a kept answer learns all of it in the same statement (`served.kept`)."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

from registry.answers.stamp import chosen_edition
from registry.models import PumpModel
from registry.models.lookup import catalogued, find_pump_model

# As a column of a statement in which `named` has a row a name: as it was `asked`, and the model's `id` and
# `name`. It reads what is watched alone.
COLUMN = """
json_build_object(
    'edition', (SELECT number FROM registry_edition WHERE is_current),
    'models', (SELECT coalesce(json_agg(json_build_array(asked, id, name, ARRAY(
        SELECT json_build_array(of_it.id, label, "order") FROM registry_revision of_it
        WHERE of_it.pump_model_id = named.id ORDER BY "order", of_it.id
    ))), '[]') FROM named)
)
"""


@dataclass(frozen=True)
class Ground:
    """The current edition, and pump models with their revisions by the names asked for, without spare blanks.

    What it does not hold is asked of the database: an answer takes the same from an empty one.
    """

    edition: int | None = None
    models: Mapping[str, PumpModel] = field(default_factory=lambda: MappingProxyType({}))

    def pump_model(self, name: str, field: str = "model") -> PumpModel:
        """Return the pump model of that name. Raises UnknownPumpModel on `field`."""
        return self.models.get(" ".join(name.split())) or find_pump_model(name, field)

    def chosen_edition(self, edition: int | None) -> int:
        """Return the edition asked for, or the current one. Raises Invalid on the field `edition`."""
        if self.edition is not None and edition in (None, self.edition):
            return self.edition
        return chosen_edition(edition)


NO_GROUND = Ground()


def ground_of(told: Mapping[str, Any]) -> Ground:
    """Return what a statement told in COLUMN."""
    models = {asked: catalogued(pk, name, revisions) for asked, pk, name, revisions in told["models"]}
    return Ground(told["edition"], models)

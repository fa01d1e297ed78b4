"""Benches compared again for a past time compare as they did then."""

from datetime import datetime

import pytest

from registry.answers.benches.answer import answer_benches
from registry.intake.withdraw import withdraw
from tests import factories
from tests.answers.test_past import CLINICS, recorded

# Each step is a transaction of its own, as the database's clock stands still within one.
pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def model():
    """Three units at each of three clinics, and one that went round."""
    factories.edition()
    made = factories.pump_model()
    for c, code in enumerate(CLINICS):
        for k in range(3):
            recorded(made, f"LK{100 * c + k:06}", code, 240.0 + 2 * c + 3 * k)
        recorded(made, "LK000900", code, 241.0 + c)
    return made


def test_benches_are_as_they_were(model) -> None:
    clinic = factories.clinic("south")
    then = answer_benches(clinic)
    assert {row["state"] for row in then["benches"]} == {"ok"}
    assert len(then["rounds"]) == 1
    recorded(model, "LK000100", "south", 270.0)
    first = model.units.get(serial="LK000900").runs.order_by("pk").first()
    withdraw(first.pk, factories.operator("north"), "rig leaked")
    now = answer_benches(clinic)
    assert now["benches"] != then["benches"]
    assert now["rounds"] == []
    again = answer_benches(clinic, as_of=datetime.fromisoformat(then["as_of"]))
    assert again["as_of"] == then["as_of"]
    assert again["rounds"] == then["rounds"]
    for made, told in zip(again["benches"], then["benches"], strict=True):
        assert made["offset_percent"] == pytest.approx(told["offset_percent"], abs=0.02)
        assert {name: made[name] for name in ("clinic", "reads", "units")} == {
            name: told[name] for name in ("clinic", "reads", "units")
        }

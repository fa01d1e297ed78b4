"""How metrics go together at settings, as chances of several needs at once have it."""

import numpy as np
import pytest

from registry.answers.keeping.parts import made
from registry.answers.matching.ahead_kept import AHEAD, Asked, table_of
from tests import factories
from tests.answers.matching.measured import RATE, setting

METRICS = ("cycle_rate", "peak_vacuum")


@pytest.fixture
def model(db):
    return factories.pump_model("Pump 0")


def bound(model, **where) -> dict[tuple[str, str], float]:
    """The correlation of rate and vacuum by mode and level."""
    table = table_of(Asked(1, METRICS, where), [model])
    (found,) = table.correlations(METRICS)(np.arange(table.size), np.array([0]), np.array([1]))
    places = (table.named(row).place for row in range(table.size))
    return {(of.mode, of.level): value for of, value in zip(places, found.tolist(), strict=True)}


def test_a_wild_unit_leaves_no_mark_on_how_metrics_go_together(model) -> None:
    setting(model, "A", "3", 70.0, 220.0)
    before = bound(model)["expression", "3"]
    assert before < -0.9
    unit = factories.unit(model, "LK000100", "A")
    factories.summary(unit, 320.0)
    factories.summary(unit, 110.0, **RATE)
    assert bound(model)["expression", "3"] == pytest.approx(before, abs=1e-6)


def test_few_units_are_taken_to_be_as_those_at_other_levels_of_the_programme(model) -> None:
    setting(model, "A", "4", 75.0, 240.0, units=3)
    assert bound(model)["expression", "4"] == 0.0
    for changes in ({"mode": "stimulation"}, {"power": "battery"}, {"programme": "Soft"}):
        setting(model, "A", "3", 70.0, 220.0, start=11, **changes)
        assert bound(model)["expression", "4"] == 0.0
    setting(model, "B", "3", 70.0, 220.0)
    assert table_of(Asked(1, METRICS), [model]).size == 5
    assert bound(model)["expression", "4"] == 0.0
    setting(model, "A", "3", 70.0, 220.0, start=21)
    assert bound(model)["expression", "4"] < -0.7


def test_what_is_narrowed_down_goes_together_as_all_there_is(model) -> None:
    for mode in ("expression", "stimulation"):
        for level, units in (("1", 3), ("2", 9), ("3", 5)):
            setting(model, "A", level, 60.0 + 5 * int(level), 220.0, units=units, mode=mode)
    narrowed = {
        key: of for mode in ("expression", "stimulation") for key, of in bound(model, mode=mode).items()
    }
    assert len(narrowed) == 6
    assert len(set(narrowed.values())) > 1
    made(AHEAD, 1, model.pk)
    assert bound(model) == narrowed

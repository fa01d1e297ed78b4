"""Kinds in no order, drift with date, and how readings become rows."""

import numpy as np
import pandas as pd
import pytest

from registry.statistics.unlisted.along import Outcome
from registry.statistics.unlisted.behaviour import SERIAL, Order, behaviour
from registry.statistics.unlisted.drift import drift_with
from registry.statistics.unlisted.kinds import two_kinds
from registry.statistics.unlisted.rows import Channels
from tests.statistics.unlisted.benched import channel, quiet

CLINIC = np.arange(40) % 4


def test_two_kinds_are_told_unit_by_unit() -> None:
    rng = np.random.default_rng(1)
    second = rng.random(40) < 0.35
    look = two_kinds([channel(quiet(rng, CLINIC) - 0.16 * second, CLINIC)])
    assert look.outcome is Outcome.FOUND
    assert look.kinds is not None
    assert (look.kinds.second == second).mean() >= 0.97
    change = look.kinds.changes["cycle_rate"]
    assert change.low < -0.16 < change.high


def test_one_kind_and_a_few_wild_units_are_one_kind() -> None:
    for seed in range(12):
        rng = np.random.default_rng(seed)
        value = quiet(rng, CLINIC)
        value[rng.choice(40, 3, replace=False)] -= 0.25
        assert two_kinds([channel(value, CLINIC)]).outcome is Outcome.NOTHING


def test_the_same_question_has_the_same_answer() -> None:
    rng = np.random.default_rng(2)
    made = [channel(quiet(rng, CLINIC) - 0.16 * (rng.random(40) < 0.4), CLINIC)]
    assert two_kinds(made).p == two_kinds(made).p


def test_a_drift_is_told_a_year() -> None:
    years = np.linspace(2020, 2022, 40)
    value = quiet(np.random.default_rng(3), CLINIC) - 0.06 * (years - 2020)
    look = drift_with([channel(value, CLINIC)], years)
    assert look.outcome is Outcome.FOUND
    assert look.drift is not None
    assert look.drift.slope.low < -0.06 < look.drift.slope.high


def test_a_step_a_short_while_and_one_clinic_are_no_drift() -> None:
    years = np.linspace(2020, 2022, 40)
    step = quiet(np.random.default_rng(4), CLINIC)
    step[20:] -= 0.12
    assert drift_with([channel(step, CLINIC)], years).outcome is Outcome.NOTHING
    short = drift_with([channel(step, CLINIC)], 2020 + np.linspace(0, 0.1, 40))
    assert short.outcome is Outcome.FEW
    own = quiet(np.random.default_rng(5), CLINIC) - 0.2 * (years - 2020) * (CLINIC == 1)
    assert drift_with([channel(own, CLINIC)], years).outcome is not Outcome.FOUND


def readings() -> pd.DataFrame:
    rng = np.random.default_rng(6)
    made = []
    for unit in range(16):
        rate = 70 * np.exp(rng.normal(0, 0.01)) * (0.88 if unit >= 8 else 1.0)
        for cell, factor in enumerate((0.8, 1.0, 1.2)):
            if (unit + cell) % 5:
                made.append((unit + 100, unit % 3, 0, cell, rate * factor, 2, 0.5))
    columns = ["unit", "clinic", "gauge", "cell", "mean", "runs", "squares"]
    return pd.DataFrame(made, columns=columns).assign(metric="cycle_rate", mode="expression")


def test_units_measured_at_other_settings_compare() -> None:
    (made,) = Channels(readings()).along(range(100, 116))
    assert np.ptp(made.rows.value[made.rows.unit < 8]) < 0.06
    assert made.rows.units == 16


def test_rows_follow_the_order_of_units_and_those_not_named_count_for_nothing() -> None:
    channels, units = Channels(readings()), np.arange(100, 116)
    order = np.random.default_rng(7).permutation(units)
    (plain,), (made,) = channels.along(units.tolist()), channels.along(order.tolist())
    value = dict(zip(units[plain.rows.unit].tolist(), plain.rows.value, strict=True))
    assert made.rows.unit.tolist() == list(range(16))
    assert made.rows.value.tolist() == [value[unit] for unit in order.tolist()]
    (some,) = channels.along(range(104, 116))
    (alone,) = Channels(readings().query("unit >= 104")).along(range(104, 116))
    assert some.rows.value.tolist() == alone.rows.value.tolist()


def test_single_modes_are_channels_where_there_are_several() -> None:
    table = pd.concat([readings(), readings().assign(mode="stimulation", cell=9)])
    names = [made.name for made in Channels(table).along(range(100, 116))]
    assert names == ["cycle_rate", "cycle_rate in expression", "cycle_rate in stimulation"]


def test_a_gauge_calibrated_in_between_is_two_benches() -> None:
    table = readings()
    table = table.assign(period=(table["unit"] >= 108).astype(int))
    found = behaviour(Channels(table), [Order(SERIAL, tuple(range(100, 116)))])
    assert found.outcome is Outcome.HIDDEN


def test_all_looks_share_the_chance() -> None:
    order = tuple(range(100, 116))
    one = behaviour(Channels(readings()), [Order(SERIAL, order)])
    two = behaviour(Channels(readings()), [Order(SERIAL, order), Order("date", order)])
    assert one.outcome is two.outcome is Outcome.FOUND
    assert one.p is not None
    assert two.p == pytest.approx(one.p * 0.95 / 0.9)

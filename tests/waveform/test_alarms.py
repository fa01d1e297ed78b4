"""Every finding is raised where it is there and not where it is not: a small part of the trial."""

import numpy as np
import pytest

from registry.waveform.findings import CATALOGUE

from .alarms import ANY_OF, alarms, measured
from .faults import SOUND
from .troubles import FAULTS


@pytest.fixture(scope="module")
def tallies():
    return alarms(3, seed=9)


def test_every_code_has_traces_that_show_it(tallies):
    shown = {code for code, tally in tallies.items() if tally.there} | set().union(*ANY_OF.values())
    assert shown >= CATALOGUE.keys()


def test_what_is_there_is_found(tallies):
    there = sum(tally.there for tally in tallies.values())
    found = sum(tally.found for tally in tallies.values())
    assert found >= 0.96 * there
    for code, tally in tallies.items():
        assert tally.there == 0 or tally.found >= 2 / 3 * tally.there, (code, tally)


def test_what_is_not_there_is_not_raised(tallies):
    clear = sum(tally.clear for tally in tallies.values())
    false = sum(tally.false for tally in tallies.values())
    assert clear > 2500
    assert false <= 0.003 * clear, {code: tally.where for code, tally in tallies.items() if tally.false}


@pytest.mark.parametrize("kind", SOUND)
def test_sound_traces_of_every_kind_are_not_held(kind):
    for seed in range(4):
        made = SOUND[kind](np.random.default_rng([77, seed]))
        assert not measured(made).holds


def test_a_change_of_setting_is_told_with_its_time():
    for seed in range(6):
        made = FAULTS["two_settings"](np.random.default_rng([77, seed]))
        told = next(item for item in measured(made).findings if item.code == "two_settings")
        assert told.at_s is not None
        assert f"at {told.at_s:.0f} s" in told.message

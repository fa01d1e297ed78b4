"""A clinic whose gauges all lean alike is named; one with a single gauge, or gauges that differ, is not."""

from collections.abc import Mapping

import numpy as np
import pandas as pd
import pytest

from registry.alerts import clinic_off
from registry.alerts.leaning import lean
from registry.alerts.readings import Readings
from registry.alerts.scanned import Changed, Scan
from registry.alerts.verdicts import Standing, Verdict

pytestmark = pytest.mark.django_db
CLINICS, UNITS = 6, 5


def judged(by: Mapping[int, float], only: Changed | None = None, gauges: int = 2) -> dict[str, Verdict]:
    """Verdicts by clinic of a build read with so many gauges a clinic; gauge 2c + n is clinic c's n-th."""
    rng = np.random.default_rng(71)
    rows = [
        (k, 2 * c + n, c, 0, 3, 0.005, float(k), 1, rng.normal(0, 0.02) + by.get(2 * c + n, 0.0))
        for k, (c, n, _) in enumerate(np.ndindex(CLINICS, gauges, UNITS))
    ]
    names = ["unit", "gauge", "clinic", "build", "settings", "systematic", "at", "runs", "apart"]
    pairs = pd.DataFrame(rows, columns=names)
    known = {row[1]: (row[2], f"clinic{row[2]}", f"G{row[1] % 2}") for row in rows}
    found = lean(pairs, len(known), known)
    scan = Scan(Readings(pd.DataFrame(), 1, len(known)), 1, only=only, leaning=found)
    return {verdict.subject: verdict for verdict in clinic_off.judge(scan)}


def test_a_clinic_whose_gauges_lean_alike_is_off_and_alone() -> None:
    found = judged({2: 0.1, 3: 0.11})
    assert found["clinic1"].size == pytest.approx(0.11, abs=0.03)
    assert found["clinic1"].p is not None
    assert found["clinic1"].p < 0.001
    assert [name for name, one in found.items() if one.standing is Standing.OFF] == ["clinic1"]


@pytest.mark.parametrize("by", [{}, {2: 0.12}, {2: 0.1, 3: -0.1}])
def test_gauges_that_do_not_lean_alike_are_none_of_the_clinic_s(by: Mapping[int, float]) -> None:
    assert not [one for one in judged(by).values() if one.standing is Standing.OFF]


@pytest.mark.parametrize(("by", "alike"), [({2: 0.12}, 1), ({2: 0.1, 3: 0.11}, 2)])
def test_it_says_how_many_gauges_lean_the_clinic_s_way(by: Mapping[int, float], alike: int) -> None:
    assert f"{alike} of its 2 gauges read 2 % or more off that way" in judged(by)["clinic1"].why[-1]


def test_a_clinic_with_one_gauge_cannot_be_told_from_it() -> None:
    found = judged({2: 0.1}, gauges=1)["clinic1"]
    assert found.standing is Standing.UNJUDGED
    assert "a second gauge" in found.lacks


def test_new_runs_have_their_own_clinic_judged() -> None:
    assert set(judged({}, only=Changed(1, 4))) == {"clinic2"}

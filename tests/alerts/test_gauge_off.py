"""A gauge that changed is told by its change; one that was put right is not told at all."""

import numpy as np
import pandas as pd
import pytest

from registry.alerts import gauge_off
from registry.alerts.leaning import Leaning, lean
from registry.alerts.readings import Readings
from registry.alerts.scanned import Scan
from registry.alerts.verdicts import Standing, Verdict

pytestmark = pytest.mark.django_db
CLINICS, UNITS, CHANGES = 7, 24, 12
START = 1_700_000_000.0


def leaning(before: float, after: float) -> Leaning:
    """One build at clinics of a gauge each, a unit a day; gauge 0 leans so before and after a day."""
    rng = np.random.default_rng(81)
    rows = [
        (
            100 * clinic + day, clinic, clinic, 0, 3, 0.015, START + 86400.0 * day, 1,
            rng.normal(0, 0.02) + (clinic == 0) * (after if day >= CHANGES else before),
        )
        for clinic in range(CLINICS)
        for day in range(UNITS)
    ]  # fmt: skip
    names = ["unit", "gauge", "clinic", "build", "settings", "systematic", "at", "runs", "apart"]
    known = {gauge: (gauge, f"clinic{gauge}", "G1") for gauge in range(CLINICS)}
    return lean(pd.DataFrame(rows, columns=names), CLINICS, known)


def judged(found: Leaning) -> dict[str, Verdict]:
    scan = Scan(Readings(pd.DataFrame(), 1, CLINICS), 1, leaning=found)
    return {verdict.subject: verdict for verdict in gauge_off.judge(scan)}


def test_a_gauge_that_leaned_the_other_way_before_is_told_by_its_change() -> None:
    found = judged(leaning(-0.04, 0.035))
    assert [name for name, one in found.items() if one.standing is Standing.OFF] == ["clinic0/G1"]
    told = found["clinic0/G1"]
    assert told.since is not None
    assert told.since.timestamp() == pytest.approx(START + 86400.0 * CHANGES, abs=2 * 86400)
    assert "% higher than it did before" in told.says
    assert told.evidence["changed_percent"] == pytest.approx(7.8, abs=3)
    assert told.evidence["changed_low_percent"] > 3
    assert told.evidence["changed_high_percent"] < 11
    assert told.confirmed
    assert told.p is not None
    assert told.p < 0.001


def test_a_gauge_that_was_put_right_is_not_told_and_explains_what_it_read_before() -> None:
    leans = leaning(0.09, 0.0)
    assert judged(leans)["clinic0/G1"].standing is not Standing.OFF
    rows = pd.DataFrame({"gauge": [0, 0, 1], "at": START + 86400.0 * np.array([2, 20, 2])})
    assert leans.of_rows(rows) == pytest.approx([0.09, 0.0, 0.0], abs=0.03)


def test_a_gauge_that_did_not_change_says_nothing_of_before() -> None:
    told = judged(leaning(0.1, 0.1))["clinic0/G1"]
    assert told.standing is Standing.OFF
    assert told.since is None
    assert "before the next runs" in told.says
    assert "% high; 4 % matters" in told.why[0]
    assert "than it did" not in told.says
    assert "changed_percent" not in told.evidence

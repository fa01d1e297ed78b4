"""What the demo calls wrong of answers: only what the simulated units contradict."""

import pytest

from seed_demo.driver import built
from seed_demo.driver.built import Truths
from seed_demo.scenario.community import community
from seed_demo.scenario.plan import planned_runs
from seed_demo.scenario.recordings import Recording, Truth
from seed_demo.scenario.runs import PlannedRun

OF_A = {"mode": "expression", "level": "3", "rig": "flat membrane / duckbill"}


@pytest.fixture
def truths() -> Truths:
    """Every planned run, as if the rate followed the motor's speed and the vacuum nothing at all."""

    def truth(run: PlannedRun) -> Truth:
        return Truth(run.revision, 70.0 * run.unit.build.speed, 180.0, 24.0, 0)

    return Truths(Recording(run, b"", truth(run)) for run in planned_runs())


def typical(truths: Truths, revision: str) -> float:
    found = truths.typical("Pellomi", revision, OF_A, "cycle_rate")
    assert found is not None
    return found


def compared(truths: Truths, verdict: str = "different", off: float = 0.0) -> built.Json:
    apart = typical(truths, "B") - typical(truths, "A")
    row = {**OF_A, "metric": "cycle_rate", "difference": apart + off, "low": apart + off - 1, "margin": 3.5}
    return {
        "model": "Pellomi",
        "verdict": "different",
        "settings": [{**row, "high": apart + off + 1, "verdict": verdict}],
    }


def test_the_truth_is_of_a_build_at_a_setting_with_a_protector(truths: Truths) -> None:
    assert typical(truths, "A") == pytest.approx(70)
    assert typical(truths, "B") == pytest.approx(0.89 * 70)
    assert truths.typical("Pellomi", "Z", OF_A, "cycle_rate") is None
    assert truths.typical("Pellomi", "A", {**OF_A, "rig": "none"}, "cycle_rate") is None


def test_a_comparison_is_wrong_where_verdict_or_interval_miss(truths: Truths) -> None:
    assert built.wrong_comparison(compared(truths), truths, "A", "B") == []
    assert len(built.wrong_comparison(compared(truths, "same"), truths, "A", "B")) == 1
    assert len(built.wrong_comparison(compared(truths, off=-2.0), truths, "A", "B")) == 1
    assert built.wrong_comparison({**compared(truths), "verdict": "same"}, truths, "A", "B") == [
        "A and B: said same"
    ]


@pytest.mark.parametrize(("base", "part", "wrong"), [(-11.0, 0.1, 0), (-6.0, 0.1, 1), (-11.0, -5.0, 1)])
def test_a_swap_is_wrong_where_the_part_changes_the_rate(base: float, part: float, wrong: int) -> None:
    told = {"percent": base, "percent_low": base - 1, "percent_high": base + 1}
    row = {**OF_A, "metric": "cycle_rate", "base": told, "part": {"percent": part}}
    assert len(built.wrong_swap({"model": "Pellomi", "settings": [row]}, "A", "B")) == wrong
    assert built.wrong_swap({"model": "Pellomi", "settings": []}, "A", "B") == ["no cycle rate was split"]


@pytest.mark.parametrize(
    ("relation", "limit", "verdict", "wrong"),
    [
        ("at least", 50, "upheld", 0),
        ("at least", 50, "not upheld", 1),
        ("at least", 90, "upheld", 1),
        ("at least", 90, "undecided", 0),
        ("at most", 90, "upheld", 0),
        ("at most", 50, "upheld", 1),
        ("same as before", 50, "upheld", 0),
    ],
)
def test_a_claim_is_wrong_where_the_typical_unit_says_otherwise(
    truths: Truths, relation: str, limit: float, verdict: str, wrong: int
) -> None:
    claim = {
        "relation": relation,
        "value": limit,
        "verdict": verdict,
        "revision": "A",
        "metric": "cycle_rate",
        "setting": OF_A,
        "says": "said.",
    }
    assert len(built.wrong_claims({"model": "Pellomi", "claims": [claim]}, truths)) == wrong


@pytest.mark.parametrize(
    ("need", "probability", "wrong"),
    [("60..80", 0.95, 0), ("60..80", 0.05, 1), ("80..", 0.95, 1), ("80..", 0.5, 0), ("..60", None, 0)],
)
def test_a_setting_is_wrong_where_it_is_called_likely_and_is_not(
    truths: Truths, need: str, probability: float | None, wrong: int
) -> None:
    row = {**OF_A, "model": "Pellomi", "revision": "A", "probability": probability}
    document = {"needs": {"cycle_rate": need}, "settings": [row]}
    assert len(built.wrong_settings(document, truths)) == wrong


def test_a_bench_is_wrong_where_a_gauge_is_not_what_it_is() -> None:
    clinic = community().clinic("quarrowick")
    rows = [
        {"gauge": "QW-1", "quantity": "vacuum", "offset_percent": 0.4, "reads": "acceptable"},
        {"gauge": "QW-2", "quantity": "vacuum", "offset_percent": 8.1, "reads": "action"},
        {"gauge": "QW-2", "quantity": "cycle_rate", "offset_percent": 0.0, "reads": "acceptable"},
    ]
    assert built.wrong_benches({"gauges": rows}, clinic, "QW-2") == []
    assert built.wrong_benches({"gauges": rows[:1]}, clinic, "QW-2") == ["gauge QW-2 is not told of"]
    for changed in ({"offset_percent": 2.0}, {"reads": "warning"}, {"offset_percent": None}):
        told = [rows[0], {**rows[1], **changed}]
        assert len(built.wrong_benches({"gauges": told}, clinic, "QW-2")) == 1

"""Part swaps from parts made ahead are those from summaries, whichever way round they are asked for."""

import random
from itertools import product
from typing import Any

import pytest

from registry.answers.comparing import swapped, swaps_kept
from registry.answers.comparing.swaps import answer_swap
from registry.answers.comparing.swaps_kept import SWAPS
from registry.answers.served import ahead as kept_ahead
from registry.answers.served.ahead import make_ahead
from registry.errors import Invalid
from registry.models import PumpModel, UnitSummary
from registry.models.kept import KeptPart
from tests import factories

pytestmark = pytest.mark.django_db

CLINICS = ("north", "south", "east")
METRICS = {"peak_vacuum": "mmHg", "cycle_rate": "cycles/min", "duty_factor": "1"}
BASE = {"peak_vacuum": 200.0, "cycle_rate": 70.0, "duty_factor": 0.5}
WHERE = [
    {"level": "3", "elevation": "below 500 m"},
    {"level": "3", "elevation": "above 1500 m"},
    {"level": "4", "elevation": ""},
    {"level": "4", "elevation": "", "programme": "sömmer"},
]
VALUES = {"protector": ("cup", "dome"), "flange": ("24 mm", "27")}
ASKED: dict[str, tuple[Any, ...]] = {
    "mode": ("stimulation", "expression"),
    "level": ("3", 4),
    "metric": ("peak_vacuum", "all", "duty_factor"),
    "programme": ("", "SÖMMER"),
    "elevation": ("low", "2000", "not said", "middle"),
}


@pytest.fixture(autouse=True)
def nothing_remembered_of_parts(monkeypatch):
    """Counts start again with each test."""
    monkeypatch.setattr(kept_ahead, "_nothing_to_do_at", [])


@pytest.fixture
def model():
    model = factories.pump_model()
    fill(random.Random(3), model)
    return model


def fill(chance: random.Random, model: PumpModel) -> None:
    """Units of two builds, some wild, most of them with two rigs; some units of no build."""
    rigs = [
        factories.rig("cup"),
        factories.rig("dome"),
        factories.rig("cup", 27.0),
        factories.rig("dome", 27.0),
    ]
    found = []
    for number in range(26):
        build = "AB"[number % 2]
        unit = factories.unit(model, f"LK{number:06}", build if number % 9 else None)
        off = chance.gauss(0, 1) + 20 * (chance.random() < 0.08)
        for rig, where in product(chance.sample(rigs, 3), WHERE):
            clinic, gauge = chance.choice(CLINICS), chance.choice(["G1", "G1", None])
            for metric, measured_in in METRICS.items():
                by = 0.02 * off + 0.03 * (number % 2) + 0.02 * rigs.index(rig) + chance.gauss(0, 0.01)
                found.append(
                    factories.unsaved_summary(
                        unit, BASE[metric] * (1 + by), clinic, metric=metric, metric_unit=measured_in,
                        rig=rig, count=chance.randint(1, 4), gauge_code=gauge, **where,
                    )
                )  # fmt: skip
    UnitSummary.objects.bulk_create(found, ignore_conflicts=True)


def told(*sides: str, **asked: Any) -> Any:
    """The document but for the time it was made at, or why it was refused."""
    try:
        return {**answer_swap("Lapwing One", *sides, **asked), "as_of": None}
    except Invalid as refused:
        return refused.detail


def questions(chance: random.Random, count: int) -> list[tuple[list[str], dict[str, Any]]]:
    """Random sides, parts whichever way round, and filters, few or many."""
    found = []
    for _ in range(count):
        part = chance.choice(sorted(VALUES))
        values = dict(zip(("old_part", "new_part"), chance.sample(VALUES[part], 2), strict=True))
        names = chance.sample(sorted(ASKED), chance.choice([0, 0, 1, 1, 2]))
        rest = {name: chance.choice(ASKED[name]) for name in names}
        sides = chance.choice([["A", "B"], ["B", "A"], ["A", "B"], ["unit:LK000004", "B"]])
        found.append((sides, {"part": part, **(values if chance.random() < 0.8 else {}), **rest}))
    return found


def test_a_part_swap_from_parts_is_the_one_from_summaries(model, monkeypatch) -> None:
    asked = questions(random.Random(1), 60)
    from_summaries = [told(*sides, **rest) for sides, rest in asked]
    assert sum(bool(of["settings"]) for of in from_summaries if isinstance(of, dict)) > 30
    monkeypatch.setattr(kept_ahead, "KINDS", (SWAPS,))
    assert make_ahead(calm_s=0) == 2
    worked_out: list[Any] = []
    anew = swapped.split_all
    monkeypatch.setattr(swapped, "split_all", lambda *of: worked_out.append(of) or anew(*of))
    for (sides, rest), expected in zip(asked, from_summaries, strict=True):
        before = len(worked_out)
        assert told(*sides, **rest) == expected, (sides, rest)
        # Two revisions are fitted anew only where it is the database's to tell what is asked for.
        assert len(worked_out) == before or "unit" in sides[0] or "programme" in rest
    assert worked_out


@pytest.mark.parametrize("turned", [("dome", "cup", "A", "B"), ("cup", "dome", "B", "A")])
def test_part_and_base_asked_the_other_way_round_change_sign_alone(model, turned) -> None:
    old_part, new_part, *sides = turned
    there = told("A", "B", part="protector", old_part="cup", new_part="dome", metric="all")
    back = told(*sides, part="protector", old_part=old_part, new_part=new_part, metric="all")
    share, other_share = ("part", "base") if sides == ["A", "B"] else ("base", "part")
    assert len(there["settings"]) > 4
    for row, other in zip(there["settings"], back["settings"], strict=True):
        assert row[share]["value"] == -other[share]["value"]
        assert (row[share]["low"], row[share]["high"]) == (-other[share]["high"], -other[share]["low"])
        assert row[other_share]["value"] == other[other_share]["value"]
        turned_units = [1, 0, 3, 2] if sides == ["A", "B"] else [2, 3, 0, 1]
        assert row["units"] == [other["units"][place] for place in turned_units]


def test_a_swap_of_two_builds_takes_one_query_more_than_what_it_is_about(
    model, monkeypatch, django_assert_num_queries
) -> None:
    monkeypatch.setattr(kept_ahead, "KINDS", (SWAPS,))
    make_ahead(calm_s=0)
    monkeypatch.setattr(swaps_kept, "read_sides", None)
    # The pump model, its revisions, the edition, and the part.
    with django_assert_num_queries(4):
        found = told("A", "B", part="protector", old_part="cup", new_part="dome", level="4", metric="all")
    assert found["settings"]


def test_parts_are_made_of_main_metrics_and_of_others_by_pairs(model) -> None:
    a, b = (factories.revision(model, label).pk for label in "AB")
    assert list(SWAPS.keys(model.pk, 1)) == [f"{a}:{b}:main", f"{a}:{b}:rest"]


def test_of_too_many_swaps_nothing_is_made_ahead_and_answers_are_the_same(model, monkeypatch) -> None:
    asked = questions(random.Random(2), 6)
    before = [told(*sides, **rest) for sides, rest in asked]
    monkeypatch.setattr(kept_ahead, "KINDS", (SWAPS,))
    # A pair of values each of protector and flange.
    monkeypatch.setattr(swaps_kept, "MOST_SWAPS", 1)
    make_ahead(calm_s=0)
    assert not KeptPart.objects.filter(kind=SWAPS.name).exclude(body=b"").exists()
    assert [told(*sides, **rest) for sides, rest in asked] == before
    assert make_ahead(calm_s=0) == 0

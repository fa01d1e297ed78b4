"""Comparisons from parts made ahead are those worked out from summaries."""

import random
from typing import Any

import pytest
from django.utils import timezone

from registry.answers.comparing import contrasts_kept
from registry.answers.comparing.comparisons import answer_comparison
from registry.answers.comparing.contrasts import Contrasts, contrasts_between
from registry.answers.comparing.contrasts_kept import CONTRASTS, MOST_PAIRS
from registry.answers.comparing.contrasts_packed import pack, read
from registry.answers.comparing.firmware_pairs import FIRMWARES
from registry.answers.comparing.side_parts import READINGS
from registry.answers.comparing.swaps import answer_swap
from registry.answers.served import ahead as kept_ahead
from registry.answers.served.ahead import make_ahead
from registry.answers.setting import setting_order
from registry.errors import Invalid
from registry.intake.summaries import refresh_summaries
from registry.models import Measurement, PumpModel, Run, Unit, UnitSummary
from tests import factories

pytestmark = pytest.mark.django_db

CLINICS = ("north", "south", "east")
METRICS = {"peak_vacuum": "mmHg", "cycle_rate": "cycles/min", "residual_vacuum": "mmHg", "duty_factor": "1"}
BASE = {"peak_vacuum": 200.0, "cycle_rate": 70.0, "residual_vacuum": 25.0, "duty_factor": 0.5}
PLACES = {
    "mode": ("expression", "stimulation"),
    "level": ("2", "10"),
    "programme": ("", "Boost", "sömmer"),
    "power": ("mains", "battery"),
    "elevation": ("below 500 m", "above 1500 m", ""),
}
ASKED: dict[str, tuple[Any, ...]] = {
    "mode": PLACES["mode"],
    "level": ("2", 10),
    "metric": ("peak_vacuum", "all", "ALL", "duty_factor"),
    "rig": ("membrane", "24 mm", "none such"),
    "programme": ("", "bOOST", "SÖMMER"),
    "power": ("mains", "battery"),
    "elevation": ("low", "2000", "not said", "middle"),
    "rate_margin": (1.0, 3.0, 12.0),
    "vacuum_margin": (1.0, 20.0),
}
SIDES = ("A", "B", "C", "unit:LK000004", "unit:LK000008", "unit:LK000012")


@pytest.fixture(autouse=True)
def nothing_remembered_of_parts(monkeypatch):
    """Counts start again with each test."""
    monkeypatch.setattr(kept_ahead, "_nothing_to_do_at", [])


@pytest.fixture
def model():
    return factories.pump_model(revisions=("A", "B", "C"))


def fill(chance: random.Random, model: PumpModel, spread: int) -> None:
    """Units of three builds, some wild, read by several clinics in a few places."""
    places = [{name: chance.choice(of[:spread]) for name, of in PLACES.items()} for _ in range(2 * spread)]
    rigs = [factories.rig(), factories.rig("membrane")][:spread]
    found = []
    for number in range(24):
        unit = factories.unit(model, f"LK{number:06}", "ABC"[number % 3] if number % 11 else None)
        off = chance.gauss(0, 1) + 20 * (chance.random() < 0.08)
        for code in chance.sample(CLINICS, chance.choice([1, 1, 2])):
            gauge, rig = chance.choice(["G1", "G1", None]), chance.choice(rigs)
            for where in chance.sample(places, min(len(places), 3)):
                for metric, measured_in in METRICS.items():
                    value = BASE[metric] * (1 + 0.02 * off + 0.03 * (number % 3) + chance.gauss(0, 0.01))
                    found.append(
                        factories.unsaved_summary(
                            unit, value, code, metric=metric, metric_unit=measured_in, rig=rig,
                            count=chance.randint(1, 4), gauge_code=gauge, **where,
                        )
                    )  # fmt: skip
    UnitSummary.objects.bulk_create(found, ignore_conflicts=True)


def told(answer: Any, *sides: str, **asked: Any) -> Any:
    """The document but for the time it was made at, or why it was refused."""
    try:
        return {**answer("Lapwing One", *sides, **asked), "as_of": None}
    except Invalid as refused:
        return refused.detail


def questions(chance: random.Random, count: int) -> list[tuple[list[str], dict[str, Any]]]:
    """Random sides and filters, few or many."""
    found = []
    for _ in range(count):
        names = chance.sample(sorted(ASKED), chance.choice([0, 1, 1, 2, 3]))
        found.append((chance.sample(SIDES, 2), {name: chance.choice(ASKED[name]) for name in names}))
    return found


@pytest.mark.parametrize(("seed", "spread"), [(1, 1), (2, 2), (3, 3)])
def test_a_comparison_from_parts_is_the_one_from_summaries(model, monkeypatch, seed, spread) -> None:
    chance = random.Random(seed)
    fill(chance, model, spread)
    asked = questions(chance, 50)
    from_summaries = [told(answer_comparison, *sides, **rest) for sides, rest in asked]
    assert sum(bool(document["settings"]) for document in from_summaries) > 20
    monkeypatch.setattr(kept_ahead, "KINDS", (CONTRASTS, READINGS))
    assert make_ahead(calm_s=0) >= 9
    worked_out: list[Any] = []
    anew = contrasts_kept.contrasts_between
    monkeypatch.setattr(
        contrasts_kept, "contrasts_between", lambda *of: worked_out.append(of[3]) or anew(*of)
    )
    for (sides, rest), expected in zip(asked, from_summaries, strict=True):
        before = len(worked_out)
        assert told(answer_comparison, *sides, **rest) == expected, (sides, rest)
        revisions = not any(side.startswith("unit") for side in sides)
        # Two revisions are fitted anew only where it is the database's to tell what is asked for.
        assert len(worked_out) == before or not revisions or "programme" in rest


def test_a_part_swap_from_parts_is_the_one_from_summaries(model, monkeypatch) -> None:
    fill(random.Random(5), model, 2)
    asked = [("A", "B"), ("C", "A"), ("unit:LK000004", "B")]
    from_summaries = [told(answer_swap, *sides, "protector") for sides in asked]
    assert any(document["settings"] for document in from_summaries)
    monkeypatch.setattr(kept_ahead, "KINDS", (READINGS,))
    make_ahead(calm_s=0)
    assert [told(answer_swap, *sides, "protector") for sides in asked] == from_summaries


def test_old_and_new_the_other_way_round_tell_the_same(model) -> None:
    fill(random.Random(6), model, 2)
    there, back = (told(answer_comparison, *sides, metric="all") for sides in (("A", "B"), ("B", "A")))
    assert len(there["settings"]) > 4
    for row, other in zip(there["settings"], back["settings"], strict=True):
        assert row["difference"] == -other["difference"]
        assert (row["old"], row["new"]) == (other["new"], other["old"])
        if row["low"] is not None:
            assert (row["low"], row["high"]) == (-other["high"], -other["low"])
            assert row["p_different"] == other["p_different"]


def in_any_order(of: Contrasts, *metrics: str) -> Any:
    """All rows with the figures of their fits, and what each side was measured at, of some metrics or all."""
    fits = dict(zip(of.fitted, (one.tobytes() for one in of.of_fitted.table), strict=True))
    rows = {(row._replace(fit=min(row.fit, 0)), fits.get(row)) for row in of.rows}
    sides = [
        set(
            zip(
                one.settings,
                one.clinics,
                one.undeclared,
                (told.tobytes() for told in one.behaviour),
                strict=True,
            )
        )
        for one in of.sides
    ]
    return [{one for one in found if not metrics or one[0].metric in metrics} for found in sides], {
        one for one in rows if not metrics or one[0].setting.metric in metrics
    }


def test_what_is_written_down_is_read_again(model) -> None:
    fill(random.Random(7), model, 3)
    labels = {rig.pk: rig.label for rig in (factories.rig(), factories.rig("membrane"))}
    sides = [contrasts_kept.summary_blocks(edition=1, unit__revision__label=label) for label in "AB"]
    found = contrasts_between(*sides, labels, each_band=True)
    again = read(pack(found))
    assert any(row.within for row in found.rows)
    assert any(row.alone for row in found.rows)
    assert in_any_order(again) == in_any_order(found)
    assert again.labels == found.labels
    # Of all groups, in the order of documents.
    for one, other in zip(again.rows, found.rows, strict=True):
        assert one._replace(fit=other.fit) == other
    few = read(pack(found), ["duty_factor"])
    assert in_any_order(few) == in_any_order(found, "duty_factor")
    assert len(few.rows) > 3


def test_nothing_is_written_down_and_read_again() -> None:
    again = read(pack(contrasts_between([], [], {})))
    assert (again.rows, again.labels, again.of_fitted.table.shape[0]) == ((), {}, 0)
    assert [side.settings for side in again.sides] == [(), ()]


def test_settings_come_as_a_pump_counts_them_from_summaries_and_parts(model, monkeypatch) -> None:
    fill(random.Random(9), model, 3)
    monkeypatch.setattr(kept_ahead, "KINDS", (CONTRASTS,))
    for make in (lambda: None, lambda: make_ahead(calm_s=0)):
        make()
        for asked in ({}, {"elevation": "not said"}, {"metric": "peak_vacuum"}):
            rows = answer_comparison("Lapwing One", "A", "B", **{"metric": "all", **asked})["settings"]
            assert rows == sorted(rows, key=setting_order)
            assert len(rows) > 1


def test_two_builds_take_few_queries_once_parts_are_made(model, monkeypatch, django_assert_max_num_queries):
    fill(random.Random(8), model, 1)
    monkeypatch.setattr(kept_ahead, "KINDS", (CONTRASTS, READINGS))
    make_ahead(calm_s=0)
    with django_assert_max_num_queries(5):
        assert answer_comparison("Lapwing One", "A", "B", metric="all")["settings"]


@pytest.mark.parametrize("build", ["A", "B"])
def test_a_unit_takes_few_queries_once_parts_are_made(
    model, monkeypatch, django_assert_max_num_queries, build
):
    fill(random.Random(8), model, 1)
    monkeypatch.setattr(kept_ahead, "KINDS", (READINGS,))
    make_ahead(calm_s=0)
    with django_assert_max_num_queries(7):
        assert answer_comparison("Lapwing One", "unit:LK000003", build)["settings"]


def test_pairs_nearest_in_order_are_made_first(model) -> None:
    keys = list(CONTRASTS.keys(model.pk, 1))
    a, b, c = (factories.revision(model, label).pk for label in "ABC")
    assert keys == [f"{a}:{b}", f"{b}:{c}", f"{a}:{c}"]
    many = factories.pump_model("Lapwing Many", revisions=[f"R{number}" for number in range(20)])
    assert len(list(CONTRASTS.keys(many.pk, 1))) == MOST_PAIRS


def ran(unit: Unit, tag: str, value: float) -> None:
    """A run of a unit with a firmware, measured and summed up."""
    run = factories.run(unit, CLINICS[unit.pk % 3])
    Run.objects.filter(pk=run.pk).update(firmware=tag)
    Measurement.objects.create(
        run=run, edition=factories.edition(), metric="peak_vacuum", unit="mmHg", value=value,
        u=1.0, u_random=0.4, u_systematic=0.9,
    )  # fmt: skip
    refresh_summaries(run)


def test_firmwares_are_compared_alike_from_runs_summaries_and_parts(model, monkeypatch) -> None:
    for number in range(14):
        unit = factories.unit(model, f"LK{number:06}", "A")
        # Every third unit ran both.
        for tag in ("1.0a", "2.0") if number % 3 == 0 else ("2.0",) if number % 2 else ("1.0A",):
            ran(unit, tag, 200 + (30 if tag == "2.0" else 0) + number % 5)
    ends = ("firmware:1.0A", "unit:LK000004", "firmware:3")
    asked = [sides for side in ends for sides in (("firmware:2.0", side), (side, "firmware:2.0"))]
    found = [told(answer_comparison, *sides) for sides in asked]
    assert found[0]["verdict"] == found[1]["verdict"] == "different"
    assert "names the firmware '3'" in found[-1]
    run_by_run = told(answer_comparison, *asked[0], as_of=timezone.now())
    assert run_by_run["settings"] == found[0]["settings"]
    keys = [key for key in READINGS.keys(model.pk, 1) if key.startswith("firmware")]
    assert sorted(keys) == ["firmware:1.0A:main", "firmware:2.0:main"]
    assert list(FIRMWARES.keys(model.pk, 1)) == ["1.0A\n2.0"]
    for kinds in ((READINGS,), (READINGS, FIRMWARES)):
        monkeypatch.setattr(kept_ahead, "KINDS", kinds)
        make_ahead(calm_s=0)
        assert [told(answer_comparison, *sides) for sides in asked] == found


def test_two_firmwares_are_read_from_their_part_and_refused_as_without(model, monkeypatch) -> None:
    for number in range(12):
        unit = factories.unit(model, f"LK{number:06}", "A")
        ran(unit, ("1.0", "2.0")[number % 2], 200 + 30 * (number % 2) + number % 5)
    refused = {"mode": "stimulation"}
    asked = [("firmware:2.0", "firmware:1.0", rest) for rest in ({}, {"rate_margin": 2.0}, refused)]
    found = [told(answer_comparison, *sides, **rest) for *sides, rest in asked]
    assert "names the firmware '2.0'" in found[-1]
    with pytest.raises(Invalid) as refusal:
        answer_comparison("Lapwing One", "firmware:2.0", "firmware:0", mode="expression")
    assert [fault.field for fault in refusal.value.faults] == ["new"]
    monkeypatch.setattr(kept_ahead, "KINDS", (FIRMWARES,))
    make_ahead(calm_s=0)
    monkeypatch.setattr(contrasts_kept, "contrasts_between", None)
    assert [told(answer_comparison, *sides, **rest) for *sides, rest in asked] == found

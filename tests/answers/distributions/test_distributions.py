"""The distributions document: like with like, units before runs, thin where thin."""

import json
from datetime import UTC, datetime

import pytest

from registry.answers import cautions
from registry.answers.distributions.answer import answer_distributions
from registry.answers.served.kept import look
from registry.answers.served.questions import Question
from registry.errors import Invalid, UnknownPumpModel
from registry.models import Edition, Finding, Run
from tests import factories

pytestmark = pytest.mark.django_db

SETTING = ("revision", "mode", "programme", "level", "side", "power", "metric", "unit")
CLINICS = ("north", "south", "east")


@pytest.fixture
def model():
    return factories.pump_model()


def bench(model, label="A", *, start=0, per_clinic=3, base=240.0, **changes):
    """Units of one revision measured at three clinics, two mmHg apart."""
    for c, code in enumerate(CLINICS):
        for k in range(per_clinic):
            number = start + 100 * c + k
            unit = factories.unit(model, f"LK{number:06}", label)
            factories.summary(unit, base + 2 * c + 3 * k, code, **changes)


def test_one_cell_with_its_figures(model) -> None:
    bench(model)
    document = answer_distributions("Lapwing One")
    (cell,) = document["cells"]
    assert {
        k: cell[k] for k in ("revision", "mode", "programme", "level", "side", "power", "metric", "unit")
    } == {
        "revision": "A",
        "mode": "expression",
        "programme": "",
        "level": "3",
        "side": "single",
        "power": "mains",
        "metric": "peak_vacuum",
        "unit": "mmHg",
    }
    assert (cell["runs"], cell["units"], cell["clinics"], cell["state"]) == (27, 9, 3, "ok")
    assert cell["centre"] == pytest.approx(245)
    assert cell["low"] < 245 < cell["high"]
    assert cell["predict_low"] < cell["low"]
    assert cell["s_repeatability"] == pytest.approx((9 * 0.5 / 18) ** 0.5)
    assert cell["rig"] == "cup / duckbill / soft / 24 mm / 0 mL"
    assert cell["quantiles"]["0.5"] == pytest.approx(245)
    assert document["says"] == (
        "Lapwing One, expression 3, peak vacuum: revision A 245 mmHg (9 units, 3 clinics)."
    )
    assert document["cautions"]
    json.dumps(document)


def test_a_caution_tells_where_one_clinic_or_two_carry_a_centre(model) -> None:
    bench(model)
    bench(model, start=1000, level="4", u_systematic=4.0)
    for k in range(30):
        unit = factories.unit(model, f"LK{2000 + k:06}", "A")
        factories.summary(unit, 241.0 + k % 5, u_systematic=0.1, level="4")
    for k, code in enumerate(("north", "north", "south", "south")):
        factories.summary(factories.unit(model, f"LK{3000 + k:06}", "A"), 241.0 + k, code, level="5")
    factories.summary(factories.unit(model, "LK004000", "A"), 241.0, level="6")
    told = {
        level: cautions.CARRIED in answer_distributions("Lapwing One", level=level)["cautions"]
        for level in "3456"
    }
    assert told == {"3": False, "4": True, "5": True, "6": False}
    assert cautions.CARRIED in answer_distributions("Lapwing One")["cautions"]


@pytest.mark.parametrize(
    "changes",
    [
        {"mode": "stimulation"},
        {"programme": "soft"},
        {"level": "4"},
        {"side": "left"},
        {"power": "battery"},
        {"metric": "cycle_rate", "metric_unit": "cycles/min"},
    ],
)
def test_unlike_settings_are_not_pooled(model, changes) -> None:
    bench(model)
    bench(model, base=100.0, **changes)
    cells = answer_distributions("Lapwing One")["cells"]
    assert sorted(cell["centre"] for cell in cells) == pytest.approx([105, 245])


def test_unlike_rigs_and_revisions_are_not_pooled_and_unresolved_units_come_last(model) -> None:
    bench(model, "B", start=50_000)
    bench(model)
    bench(model, rig=factories.rig("membrane"), base=150.0)
    bench(model, None, start=90_000)
    cells = answer_distributions("Lapwing One")["cells"]
    assert [cell["revision"] for cell in cells] == ["A", "A", "B", None]
    assert [cell["centre"] for cell in cells] == pytest.approx([245, 155, 245, 245])
    only = answer_distributions("Lapwing One", rig="membrane")["cells"]
    assert [cell["centre"] for cell in only] == pytest.approx([155])


def test_levels_come_in_the_order_of_the_pump(model) -> None:
    for level in ("10", "2", "low"):
        bench(model, level=level)
    assert [c["level"] for c in answer_distributions("Lapwing One")["cells"]] == ["2", "10", "low"]


def test_a_cell_below_the_floor_is_thin_and_says_what_it_lacks(model) -> None:
    factories.summary(factories.unit(model, "LK000001", "A"), 240.0)
    (cell,) = answer_distributions("Lapwing One")["cells"]
    assert (cell["state"], cell["missing"]) == ("thin", "2 more units, 1 more clinic")
    assert cell["centre"] == 240.0
    for name in ("low", "high", "s_unit", "s_clinic", "s_reproducibility", "predict_low", "predict_high"):
        assert cell[name] is None
    assert set(cell["quantiles"].values()) == {None}


def test_many_runs_of_one_unit_do_not_outvote_the_others(model) -> None:
    bench(model)
    factories.summary(factories.unit(model, "LK000900", "A"), 260.0, "north", count=5000, sum_squares=1250.0)
    (cell,) = answer_distributions("Lapwing One")["cells"]
    assert cell["centre"] == pytest.approx(246, abs=1.5)


def test_two_gauges_of_a_clinic_make_one_row_and_no_repeatability(model) -> None:
    bench(model)
    twice = factories.unit(model, "LK000000", "A")
    factories.summary(twice, 260.0, "north", gauge_code="G2")
    (cell,) = answer_distributions("Lapwing One")["cells"]
    assert (cell["runs"], cell["units"]) == (30, 9)
    assert cell["s_repeatability"] == pytest.approx(0.5)


def test_one_setting_and_metric_is_said_in_words(model) -> None:
    rate = {"metric": "cycle_rate", "metric_unit": "cycles/min", "sum_squares": 0.01, "u_random": 0.1}
    bench(model, base=69.0, **rate)
    bench(model, "B", start=50_000, base=61.0, **rate)
    factories.summary(factories.unit(model, "LK090000", None), 55.0, "north", **rate)
    bench(model)
    assert answer_distributions("Lapwing One", metric="cycle_rate")["says"] == (
        "Lapwing One, expression 3, cycle rate: revision A 74 cycles/min (9 units, 3 clinics), "
        "revision B 66 (9 units, 3 clinics), unknown revision 55.0 (1 unit, 1 clinic; thin)."
    )
    assert answer_distributions("Lapwing One")["says"] == (
        "Lapwing One: 4 values over builds, settings and metrics, from 19 units measured in 3 clinics; "
        "1 of them thin: too few units or clinics."
    )


def test_what_parts_the_cells_of_one_setting_is_said(model) -> None:
    bench(model, programme="soft")
    bench(model, programme="soft", power="battery", base=200.0)
    assert answer_distributions("Lapwing One")["says"] == (
        "Lapwing One, expression soft 3, peak vacuum: revision A, battery 205 mmHg (9 units, 3 clinics); "
        "revision A, mains 245 (9 units, 3 clinics)."
    )


def test_rigs_of_one_setting_are_told_apart_by_the_parts_that_differ(model) -> None:
    bench(model)
    bench(model, rig=factories.rig("membrane"), base=150.0)
    assert answer_distributions("Lapwing One")["says"] == (
        "Lapwing One, expression 3, peak vacuum: revision A, cup 245 mmHg (9 units, 3 clinics); "
        "revision A, membrane 155 (9 units, 3 clinics)."
    )


def test_losses_never_seen_are_not_said_to_be_none(model) -> None:
    losses = {"metric": "loss_rate", "metric_unit": "per 100 cycles", "sum_squares": 0.0}
    for c, code in enumerate(CLINICS):
        for k in range(3):
            unit = factories.unit(model, f"LK{100 * c + k:06}", "A")
            factories.summary(unit, 0.0, code, u_random=2.4, u_systematic=0.0, **losses)
    (cell,) = answer_distributions("Lapwing One")["cells"]
    assert (cell["centre"], cell["low"], cell["predict_low"]) == (0.0, 0.0, 0.0)
    assert 0.3 < cell["high"] < cell["predict_high"] < 10


def test_the_histogram_counts_units(model) -> None:
    bench(model)
    (cell,) = answer_distributions("Lapwing One")["cells"]
    assert cell["histogram"] == {"edges": [240.0, 245.0, 250.0], "counts": [4, 5]}


def test_each_clinic_sees_its_own_influence_by_name_and_others_by_code(model) -> None:
    bench(model)
    north, south = factories.clinic("north"), factories.clinic("south")
    of_north, of_south, of_nobody = (
        answer_distributions("Lapwing One", clinic=clinic)["cells"][0]["influence"]
        for clinic in (north, south, None)
    )
    assert {one["clinic"]: one["own"] for one in of_north if one["own"]} == {"north": True}
    assert not any(one["own"] or one["clinic"] in CLINICS for one in of_nobody)
    seen = {one["clinic"] for one in of_nobody}
    assert len(seen) == 3
    assert len({one["clinic"] for one in of_south} & seen) == 2
    (own,) = [one for one in of_north if one["own"]]
    assert (own["units"], own["runs"]) == (3, 9)
    assert own["apart"] == pytest.approx(-2.0)
    assert own["shift"] == pytest.approx(1.0)
    assert own["weight"] == pytest.approx(1 / 3)


def test_a_code_is_another_for_another_model(model) -> None:
    bench(model)
    other = factories.pump_model("Lapwing Two")
    bench(other)
    codes = [
        {one["clinic"] for one in answer_distributions(name)["cells"][0]["influence"]}
        for name in ("Lapwing One", "Lapwing Two")
    ]
    assert not codes[0] & codes[1]


def test_a_wild_unit_is_named(model) -> None:
    bench(model)
    factories.summary(factories.unit(model, "LK000900", "A"), 500.0, "north")
    (cell,) = answer_distributions("Lapwing One")["cells"]
    assert (cell["reined"], cell["reined_units"]) == (1, ["LK000900"])
    assert cell["centre"] == pytest.approx(245, abs=1.5)


def test_a_large_answer_leaves_out_influence(model) -> None:
    for level in range(25):
        factories.summary(factories.unit(model, "LK000001", "A"), 240.0, level=str(level))
    cells = answer_distributions("Lapwing One")["cells"]
    assert {cell["influence"] for cell in cells} == {None}
    assert answer_distributions("Lapwing One", level=3)["cells"][0]["influence"]


def test_what_is_left_out_is_told_with_why(model) -> None:
    bench(model)
    bench(model, None, start=90_000, per_clinic=1)
    unit = factories.unit(model, "LK000000", "A")
    held = factories.run(unit, state="held")
    Finding.objects.create(
        run=held, edition=factories.edition(), code="clipped", severity="hold", message="m", hint="h"
    )
    factories.run(unit, state="held", level="4")
    gone = factories.run(unit)
    gone.state, gone.withdrawn_at, gone.withdrawn_why = "withdrawn", factories.NOW, "leak"
    gone.save()
    asked = answer_distributions("Lapwing One", revision="A", level=3)
    assert asked["left_out"] == {
        "held": 1,
        "withdrawn": 1,
        "held_for": {"clipped": 1},
        "unknown_revision": {"runs": 9, "units": 3},
    }
    assert [cell["revision"] for cell in asked["cells"]] == ["A"]
    every = answer_distributions("Lapwing One")
    assert every["left_out"]["held"] == 2
    assert every["left_out"]["unknown_revision"] == {"runs": 0, "units": 0}
    assert answer_distributions("Lapwing One", rig="membrane")["left_out"]["held"] == 0
    Run.objects.filter(pk=held.pk).update(rig=factories.rig("membrane"))
    assert answer_distributions("Lapwing One", rig="membrane")["left_out"]["held"] == 1


def test_another_edition_can_be_asked(model) -> None:
    bench(model)
    Edition.objects.create(number=2, is_current=False)
    bench(model, edition=Edition.objects.get(number=2), base=140.0)
    assert answer_distributions("Lapwing One")["cells"][0]["centre"] == pytest.approx(245)
    older = answer_distributions("Lapwing One", edition=1)
    assert (older["edition"], older["cells"][0]["centre"]) == (1, pytest.approx(245))


def test_the_estimator_is_stated(model) -> None:
    assert "ISO 5725-2" in answer_distributions("Lapwing One")["estimator"]


@pytest.mark.parametrize(
    ("asked", "field", "hint"),
    [
        ({"mode": "expresion"}, "mode", "Did you mean expression?"),
        ({"metric": "peak_vacum"}, "metric", "Did you mean peak_vacuum?"),
        ({"power": "solar"}, "power", "Known: mains, battery."),
        ({"revision": "Z"}, "revision", "Known revisions: A, B."),
        ({"level": "3" * 21}, "level", "at most 20 printable"),
        ({"level": "3\0"}, "level", "at most 20 printable"),
        ({"programme": "\ud800"}, "programme", "at most 40 printable"),
        ({"edition": 99}, "edition", "Known editions: 1."),
        ({"as_of": datetime(2999, 1, 1, tzinfo=UTC)}, "as_of", "as of a past time"),
    ],
)
def test_what_is_not_known_is_refused_by_field(model, asked, field, hint) -> None:
    with pytest.raises(Invalid) as caught:
        answer_distributions("Lapwing One", **asked)
    assert [fault.field for fault in caught.value.faults] == [field]
    assert hint in caught.value.hint


def test_an_unknown_model_is_refused(model) -> None:
    with pytest.raises(UnknownPumpModel):
        answer_distributions("Nothing of the kind")


@pytest.mark.parametrize("levels", [1, 12])
def test_the_number_of_queries_does_not_grow(model, levels, django_assert_num_queries) -> None:
    for level in range(levels):
        bench(model, level=str(level))
    ground = look(Question("distributions", {"model": "Lapwing One"})).ground
    with django_assert_num_queries(4):
        answer_distributions("Lapwing One", ground=ground)

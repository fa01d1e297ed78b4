"""The distributions document: like with like, units before runs, thin where thin."""

import json

import pytest

from registry.answers.distributions import answer_distributions
from registry.errors import Invalid, UnknownPumpModel
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
    assert document["says"] == ("Lapwing One: 1 cell from 9 units measured in 3 clinics; all carry figures.")
    assert document["cautions"]
    json.dumps(document)


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


def test_narrowing_down(model) -> None:
    bench(model)
    bench(model, "B", start=50_000, level="4")
    assert len(answer_distributions("lapwing one", revision="b")["cells"]) == 1
    assert len(answer_distributions("Lapwing One", level=4)["cells"]) == 1
    assert len(answer_distributions("Lapwing One", mode="Expression", metric="peak_vacuum")["cells"]) == 2
    assert len(answer_distributions("Lapwing One", power="mains", programme="")["cells"]) == 2
    nothing = answer_distributions("Lapwing One", level="9")
    assert nothing["cells"] == []
    assert "nothing is known here yet" in nothing["says"]


@pytest.mark.parametrize(
    ("asked", "field", "hint"),
    [
        ({"mode": "expresion"}, "mode", "Did you mean expression?"),
        ({"metric": "peak_vacum"}, "metric", "Did you mean peak_vacuum?"),
        ({"power": "solar"}, "power", "Known: mains, battery."),
        ({"revision": "Z"}, "revision", "Known revisions: A, B."),
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
    with django_assert_num_queries(5):
        answer_distributions("Lapwing One")

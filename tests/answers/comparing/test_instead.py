"""Comparisons and part swaps that nothing fits name the word that nothing has, and what there is instead."""

import pytest

from registry.answers.comparing.comparisons import answer_comparison
from registry.answers.comparing.swaps import answer_swap
from registry.answers.served.ahead import make_ahead
from registry.errors import Invalid
from tests import factories
from tests.answers.comparing.test_comparisons import bench, both
from tests.answers.comparing.test_swaps import all_four, record

pytestmark = pytest.mark.django_db
NOBODY = [
    ({"level": "77"}, "none has level 77; there are 3, 10"),
    ({"mode": "stimulation"}, "none has mode stimulation; there is expression"),
    ({"programme": "soft"}, "none has programme soft; there is without a programme"),
    ({"power": "battery"}, "none has power battery; there is mains"),
    ({"elevation": "high"}, "none has elevation above 1500 m; there is not said"),
    ({"metric": "duty_factor"}, "none has metric duty factor; there is peak vacuum"),
    ({"metric": "duty_factor", "level": "77"}, "none has level 77; there are 3, 10"),
    ({"metric": "peak_vacuum", "level": "77"}, "none has level 77; there are 3, 10"),
    ({"metric": "all", "power": "battery"}, "none has power battery; there is mains"),
]
OF_RIG = [({"rig": "bell"}, "none has rig 'bell'; there is cup / duckbill / soft / 24 mm / 0 mL")]
SIDES = [("A", "B"), ("B", "A"), ("unit:LK000001", "A"), ("B", "unit:LK000001"), ("unit:LK000001", "B")]


@pytest.fixture
def model():
    return factories.pump_model()


def name_firmware(model) -> None:
    """Each build's runs name a firmware of its own."""
    for unit in model.units.all():
        run = factories.run(unit)
        tag = "1.1" if unit.revision.label == "A" else "1.2"
        type(run).objects.filter(pk=run.pk).update(firmware=tag)


@pytest.mark.parametrize(("asked", "instead"), NOBODY + OF_RIG)
def test_a_word_that_neither_side_has_is_named_alike_kept_or_not(model, asked, instead) -> None:
    both(model)
    both(model, level="10")
    for make in (lambda: None, lambda: make_ahead(calm_s=0)):
        make()
        for old, new in SIDES:
            document = answer_comparison("Lapwing One", old, new, **asked)
            assert (document["settings"], document["left_out"]) == ([], [])
            about = f"Lapwing One, {document['new']} against {document['old']}"
            assert document["says"] == f"{about}: no setting was measured alike on both; {instead}."


def test_a_word_that_one_side_lacks_is_named_with_that_side(model) -> None:
    both(model)
    bench(model, "A", 240, start=1, level="4")
    bench(model, "B", 240, start=50_001, power="battery")
    factories.summary(factories.unit(model, "LK000001", "A"), 0.5, metric="duty_factor", metric_unit="1")
    for asked, instead in (
        ({"level": "4"}, "of revision B none has level 4; there is 3."),
        ({"power": "battery"}, "of revision A none has power battery; there is mains."),
        ({"metric": "duty_factor"}, "of revision B none has metric duty factor; there is peak vacuum."),
    ):
        assert answer_comparison("Lapwing One", "A", "B", **asked)["says"].endswith(f"on both; {instead}")


def test_where_no_word_is_at_fault_none_is_named(model) -> None:
    bench(model, "A", 240, start=1)
    model.revisions.create(label="C", order=9)
    nobody = answer_comparison("Lapwing One", "A", "C")["says"]
    assert nobody.endswith("nothing can be compared yet. Revision C was not measured there.")
    assert answer_comparison("Lapwing One", "A", "C", level="3")["says"] == nobody
    bench(model, "C", 240, start=70_001, power="battery")
    apart = answer_comparison("Lapwing One", "A", "C", level="3")["says"]
    assert "All were never measured alike: power mains against battery." in apart


def test_what_fits_asks_nothing_more(model, monkeypatch) -> None:
    both(model)
    bench(model, "A", 240, start=1, level="4", power="battery")
    bench(model, "B", 240, start=50_001, level="4")
    monkeypatch.setattr("registry.answers.comparing.comparisons.what_there_is", None)
    assert len(answer_comparison("Lapwing One", "A", "B", level="3")["settings"]) == 1
    assert "never measured alike" in answer_comparison("Lapwing One", "A", "B", level="4")["says"]


def test_a_firmware_that_no_run_which_fits_names_is_refused_with_what_there_is(model) -> None:
    both(model, per_clinic=1)
    both(model, per_clinic=1, level="10")
    name_firmware(model)
    assert answer_comparison("Lapwing One", "firmware:1.1", "firmware:1.2")["settings"]
    for new, asked, told in (
        ("1.2", {"level": "77"}, "the firmware '1.1': none has level 77; there are 3, 10"),
        ("1.2", {"metric": "duty_factor"}, "none has metric duty factor; there is peak vacuum"),
        ("9", {}, "names the firmware '9'"),
    ):
        with pytest.raises(Invalid) as refused:
            answer_comparison("Lapwing One", "firmware:1.1", f"firmware:{new}", **asked)
        assert refused.value.detail.endswith(told)
    rig = answer_comparison("Lapwing One", "firmware:1.1", "firmware:1.2", rig="bell")
    assert "on both; none has rig 'bell'; there is cup" in rig["says"]


@pytest.mark.parametrize(("asked", "instead"), NOBODY)
@pytest.mark.parametrize("given", [{}, {"old_part": "cup", "new_part": "dome"}])
def test_a_part_swap_names_the_word_too(model, asked, instead, given) -> None:
    all_four(model)
    all_four(model, level="10")
    for make in (lambda: None, lambda: make_ahead(calm_s=0)):
        make()
        document = answer_swap("Lapwing One", "A", "B", "protector", **given, **asked)
        assert (document["settings"], document["missing"]) == ([], [])
        about = "Lapwing One, revision B against revision A"
        assert document["says"] == f"{about}: nothing was measured of what is asked for; {instead}."


def test_a_part_swap_that_one_side_alone_was_measured_for_names_the_run_to_record(model) -> None:
    all_four(model)
    record(model, "A", "cup", level="4")
    record(model, "A", "dome", level="4")
    says = answer_swap("Lapwing One", "A", "B", "protector", old_part="cup", new_part="dome", level="4")[
        "says"
    ]
    assert "not all four combinations were measured at any setting. Record revision B" in says

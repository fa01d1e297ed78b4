"""The comparisons document: like with like, clinics as their own control, three verdicts, plain words."""

import json

import numpy as np
import pytest
from django.utils import timezone

from registry.answers.comparing.comparisons import answer_comparison
from registry.errors import Invalid
from registry.models import BenchSession, Edition, Measurement
from tests import factories

pytestmark = pytest.mark.django_db
LOW, HIGH = "below 500 m", "above 1500 m"

CLINICS = ("north", "south", "east")
RATE = {
    "metric": "cycle_rate",
    "metric_unit": "cycles/min",
    "sum_squares": 0.1,
    "u_random": 0.1,
    "u_systematic": 0.01,
}
# Clinics lean by this much, on both builds alike.
LEAN = {"north": 0.0, "south": 9.0, "east": -7.0}
APART = (-1.0, 0.5, 1.0, -0.5)


@pytest.fixture
def model():
    return factories.pump_model()


def bench(model, label, value, *, start, clinics=CLINICS, per_clinic=4, lean=1.0, **changes):
    """Units of one build at clinics, about `value` and the clinic's lean."""
    for c, code in enumerate(clinics):
        for k in range(per_clinic):
            unit = factories.unit(model, f"LK{start + 100 * c + k:06}", label)
            factories.summary(unit, value + lean * LEAN[code] + APART[k % 4], code, **changes)


def both(model, old=240.0, new=240.0, **changes):
    bench(model, "A", old, start=1, **changes)
    bench(model, "B", new, start=50_001, **changes)


def test_a_clinic_that_measured_both_is_its_own_control(model) -> None:
    both(model, 240, 243)
    document = answer_comparison("Lapwing One", "A", "B")
    (row,) = document["settings"]
    assert row["difference"] == pytest.approx(3, abs=0.3)
    assert row["high"] - row["low"] < 5
    assert (row["verdict"], document["verdict"], row["matters"]) == ("same", "same", "no")
    assert (row["units_old"], row["units_new"], row["clinics_both"]) == (12, 12, 3)
    assert document["says"] == (
        "Lapwing One, revision B against revision A: same within what matters. Of 1 value compared: 1 same."
    )
    assert document["cautions"]
    json.dumps(document)


def test_the_same_figures_from_clinics_that_measured_one_each_tell_nothing(model) -> None:
    bench(model, "A", 240, start=1, clinics=("north", "east"))
    bench(model, "B", 243, start=50_001, clinics=("south",))
    document = answer_comparison("Lapwing One", "A", "B")
    (row,) = document["settings"]
    assert row["verdict"] == document["verdict"] == "cannot tell yet"
    assert row["clinics_both"] == 0
    assert row["needs"]["units"] >= 1
    assert "No clinic measured both revision A and revision B" in document["cautions"][0]
    assert "would probably tell" in document["says"]


def test_two_gauges_of_one_clinic_do_not_cancel(model) -> None:
    bench(model, "A", 240, start=1, gauge_code="G1")
    bench(model, "B", 240, start=50_001, gauge_code="G2")
    (apart,) = answer_comparison("Lapwing One", "A", "B")["settings"]
    bench(model, "A", 240, start=1, gauge_code="G1", level="4")
    bench(model, "B", 240, start=50_001, gauge_code="G1", level="4")
    alike = answer_comparison("Lapwing One", "A", "B", level=4)["settings"][0]
    assert apart["high"] - apart["low"] > 3 * (alike["high"] - alike["low"])


def test_an_undeclared_gauge_is_nobodys_own_control(model) -> None:
    both(model, gauge_code=None)
    document = answer_comparison("Lapwing One", "A", "B")
    assert document["settings"][0]["high"] > 5
    assert "gauge nobody declared" in document["cautions"][0]


def test_a_drop_of_a_tenth_is_different_and_crosses_the_bands(model) -> None:
    both(model, 75, 67.5, lean=0.0, **RATE)
    document = answer_comparison("Lapwing One", "A", "B")
    (row,) = document["settings"]
    assert (row["verdict"], document["verdict"], row["matters"]) == ("different", "different", "yes")
    assert row["percent"] == pytest.approx(-10, abs=0.1)
    assert row["percent_low"] < -10 < row["percent_high"] < -5
    assert row["margin"] == pytest.approx(0.05 * 75, rel=0.01)
    assert row["bands"] == {"old": "70 and above", "new": "60 to 70", "crossed": [70.0], "sure": True}
    assert document["says"].startswith(
        "Lapwing One, revision B against revision A: different by more than matters; cycle rate at "
        "expression 3 from 75.0 to 67.5 cycles/min (down 10 %)."
    )


def test_margins_are_asked_for(model) -> None:
    both(model, 240, 243)
    narrow = answer_comparison("Lapwing One", "A", "B", vacuum_margin=3)["settings"][0]
    assert narrow["verdict"] == "different"
    assert narrow["matters"] == "perhaps"
    with pytest.raises(Invalid) as caught:
        answer_comparison("Lapwing One", "A", "B", rate_margin=0)
    assert [fault.field for fault in caught.value.faults] == ["rate_margin"]


def test_more_settings_widen_each_interval(model) -> None:
    both(model)
    (alone,) = answer_comparison("Lapwing One", "A", "B")["settings"]
    for level in "45678":
        both(model, level=level)
    document = answer_comparison("Lapwing One", "A", "B")
    assert document["family"] == len(document["settings"]) == 6
    assert [row["level"] for row in document["settings"]] == list("345678")
    among = document["settings"][0]
    assert among["high"] - among["low"] > 1.2 * (alone["high"] - alone["low"])
    assert among["p_different"] == pytest.approx(min(6 * alone["p_different"], 1), rel=0.01)


def test_a_metric_without_a_margin_is_never_the_same(model) -> None:
    both(model, 0.5, 0.5, metric="duty_factor", metric_unit="1", lean=0.0)
    assert answer_comparison("Lapwing One", "A", "B")["settings"] == []
    (row,) = answer_comparison("Lapwing One", "A", "B", metric="duty_factor")["settings"]
    assert (row["verdict"], row["margin"], row["matters"]) == ("cannot tell yet", None, None)
    assert len(answer_comparison("Lapwing One", "A", "B", metric="all")["settings"]) == 1


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"level": "4"}, "revision B was not measured there"),
        ({"power": "battery"}, "never measured alike: power battery against mains"),
        ({"side": "left"}, "never measured alike: side left against single"),
    ],
)
def test_unlike_settings_are_left_out_and_named(model, changes, why) -> None:
    bench(model, "A", 240, start=1, **changes)
    bench(model, "B", 240, start=50_001)
    document = answer_comparison("Lapwing One", "A", "B")
    assert document["settings"] == []
    assert document["verdict"] == "cannot tell yet"
    assert why in [row["why"] for row in document["left_out"]]
    assert "nothing can be compared yet" in document["says"]


def test_unlike_rigs_are_named_by_their_parts(model) -> None:
    bench(model, "A", 240, start=1)
    bench(model, "B", 240, start=50_001, rig=factories.rig("membrane"))
    document = answer_comparison("Lapwing One", "A", "B")
    assert "cup / duckbill" in document["left_out"][0]["why"]
    assert "membrane / duckbill" in document["left_out"][0]["why"]
    both(model, level="4")
    assert answer_comparison("Lapwing One", "A", "B", rig="cup")["settings"][0]["level"] == "4"


def test_one_unit_of_each_gives_values_and_the_first_step(model) -> None:
    both(model, 240, 250, clinics=("north",), per_clinic=1)
    (row,) = answer_comparison("Lapwing One", "A", "B")["settings"]
    assert row["difference"] == pytest.approx(10)
    assert row["low"] is None
    assert row["needs"] == {"units": 3, "clinics": 2, "towards": None}


def test_a_unit_against_its_revision_is_not_held_against_itself(model) -> None:
    both(model)
    odd = factories.unit(model, "LK000900", "A")
    for code in CLINICS:
        factories.summary(odd, 200.0 + LEAN[code], code)
    document = answer_comparison("Lapwing One", "A", "unit:lk 000900")
    (row,) = document["settings"]
    assert document["new"] == "unit LK000900"
    assert (row["units_old"], row["units_new"]) == (12, 1)
    assert row["difference"] == pytest.approx(-40, abs=1)
    assert row["verdict"] == "different"
    assert row["high"] < -35


@pytest.mark.parametrize(
    ("off", "told"),
    [(8.0, "None lies further out than sound units"), (-60.0, "1 value lies further out than sound units")],
)
def test_a_unit_is_held_against_what_units_of_its_build_differ_by(model, off, told) -> None:
    drawn = np.random.default_rng(3).normal(size=24)
    for number, far in enumerate((drawn - drawn.mean()) / drawn.std(ddof=1), 1):
        unit = factories.unit(model, f"LK{number:06}", "A")
        for code in CLINICS:
            factories.summary(unit, 240 + 8 * far, code)
    alone = factories.unit(model, "LK000900", "A")
    for code in CLINICS:
        factories.summary(alone, 240 + off, code)
    for old, new, sign in (("A", "unit:LK000900", 1), ("unit:LK000900", "A", -1)):
        document = answer_comparison("Lapwing One", old, new)
        (row,) = document["settings"]
        assert row["spreads"] == pytest.approx(sign * off / 8, rel=0.02)
        assert told in document["says"]
    (row,) = answer_comparison("Lapwing One", "unit:LK000001", "unit:LK000900")["settings"]
    assert row["spreads"] is None


def test_firmware_against_firmware_with_units_as_their_own_control(model) -> None:
    edition = factories.edition()
    for k in range(6):
        unit = factories.unit(model, f"LK{k + 1:06}", "A")
        for tag, shift in (("1.1", 0.0), ("1.2", -12.0)):
            for repeat in range(2):
                run = factories.run(unit, CLINICS[k % 3])
                type(run).objects.filter(pk=run.pk).update(firmware=tag)
                value = 240 + 8 * k + shift + 0.1 * repeat
                Measurement.objects.create(
                    run=run, edition=edition, metric="peak_vacuum", value=value, unit="mmHg",
                    u=0.5, u_random=0.3, u_systematic=0.4,
                )  # fmt: skip
    document = answer_comparison("Lapwing One", "firmware:1.1", "firmware:1.2")
    (row,) = document["settings"]
    assert (row["units_old"], row["units_new"]) == (6, 6)
    assert row["difference"] == pytest.approx(-12)
    # Units differ by 8 mmHg; as their own control they leave no more than repeats.
    assert row["high"] - row["low"] < 4
    assert row["verdict"] == "different"


def test_a_past_time_is_answered_as_then(model) -> None:
    edition = factories.edition()
    before = timezone.now()
    for label, start, shift in (("A", 1, 0.0), ("B", 50_001, 30.0)):
        for k in range(6):
            run = factories.run(factories.unit(model, f"LK{start + k:06}", label), CLINICS[k % 3])
            Measurement.objects.create(
                run=run, edition=edition, metric="peak_vacuum", value=200 + shift + k, unit="mmHg",
                u=0.5, u_random=0.3, u_systematic=0.4,
            )  # fmt: skip
    # Nothing was summarised: what a past time is made from are the runs.
    assert answer_comparison("Lapwing One", "A", "B")["settings"] == []
    then = timezone.now()
    document = answer_comparison("Lapwing One", "A", "B", as_of=then, edition=1)
    (row,) = document["settings"]
    assert row["difference"] == pytest.approx(30)
    assert document["as_of"] == then.isoformat()
    assert answer_comparison("Lapwing One", "A", "B", as_of=before)["settings"] == []


def test_whether_seventy_is_still_reached_at_the_vacuum_in_use(model) -> None:
    both(model, 240, 240)
    both(model, 75, 66, lean=0.0, **RATE)
    document = answer_comparison("Lapwing One", "A", "B")
    (still,) = document["reach"]
    assert (still["rate"], still["reached"], still["with"]["rate"]) == (75.0, False, 66.0)
    assert still["sure"]
    assert document["says"].endswith("At 240 mmHg revision B no longer reaches 70 cycles/min.")
    bench(model, "B", 242, start=50_001, level="4")
    bench(model, "B", 71, start=50_001, lean=0.0, level="4", **RATE)
    (still,) = answer_comparison("Lapwing One", "A", "B")["reach"]
    assert (still["reached"], still["with"]["level"]) == (True, "4")


def test_where_seventy_is_reached_comes_in_order_with_its_rig_and_air(model) -> None:
    both(model, 240, 240)
    both(model, 75, 66, lean=0.0, **RATE)
    rig = factories.rig("domed")
    for level, band in (("10", LOW), ("9", HIGH), ("9", LOW)):
        bench(model, "A", 240, start=1, level=level, elevation=band, rig=rig)
        bench(model, "A", 75, start=1, lean=0.0, level=level, elevation=band, rig=rig, **RATE)
    _, *rows = answer_comparison("Lapwing One", "A", "B")["reach"]
    assert [(row["level"], row["elevation"]) for row in rows] == [("9", LOW), ("9", HIGH), ("10", LOW)]
    assert {(row["rig"], row["side"]) for row in rows} == {(rig.label, "single")}


def test_elevations_far_apart_are_named(model) -> None:
    bench(model, "A", 240, start=1, clinics=("north",), elevation="500-1500 m")
    bench(model, "B", 240, start=50_001, clinics=("south",), elevation="500-1500 m")
    for code, metres, kpa in (("north", 510.0, None), ("south", None, 85.0), ("south", 20.0, None)):
        person = factories.operator(code)
        BenchSession.objects.create(
            clinic=person.clinic, operator=person, elevation_m=metres, ambient_kpa=kpa, power="mains"
        )
    told = " ".join(answer_comparison("Lapwing One", "A", "B")["cautions"])
    assert "revision A was measured at about 510 m, revision B at about 14" in told


@pytest.mark.parametrize(
    ("old", "new", "field"),
    [
        ("Z", "B", "old"),
        ("A", "a", "new"),
        ("A", "unit:LK999999", "new"),
        ("A", "unit:\x00", "new"),
        ("firmware:9", "B", "old"),
        ("firmware: ", "B", "old"),
        ("firmware:v 2", "firmware: V  2", "new"),
    ],
)
def test_what_is_not_known_is_refused_by_field(model, old, new, field) -> None:
    with pytest.raises(Invalid) as caught:
        answer_comparison("Lapwing One", old, new)
    assert [fault.field for fault in caught.value.faults] == [field]


@pytest.mark.parametrize("levels", [1, 8])
def test_the_number_of_queries_does_not_grow(model, levels, django_assert_num_queries) -> None:
    assert Edition.objects.exists() or factories.edition()
    for level in range(levels):
        both(model, level=str(level))
    with django_assert_num_queries(7):
        answer_comparison("Lapwing One", "A", "B")

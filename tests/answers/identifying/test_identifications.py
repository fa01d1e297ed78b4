"""Which revision a pump in hand is, by stored records."""

import json
from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from registry.answers.identifying.answer import answer_identification
from registry.answers.identifying.traces import Trace
from registry.answers.serials.answer import answer_serials
from registry.errors import DomainError, Invalid, SideNeeded, UnreadableTrace
from registry.models import Revision
from tests import factories
from tests.traces import trace_bytes, two_sided_bytes

pytestmark = pytest.mark.django_db
CLINICS = ("north", "south", "east")
RATE = {"metric": "cycle_rate", "metric_unit": "cycles/min", "u_random": 0.1, "u_systematic": 0.01}
MARKS = {"A": {"housing": "amber", "membrane": "flat"}, "B": {"housing": "amber", "membrane": "domed"}}
TAGS = {"A": ["1.0", "1.1"], "B": ["1.1", "1.2"]}
USUAL = "cup / duckbill / soft / 24 mm / 0 mL"


@pytest.fixture
def model():
    made = factories.pump_model()
    for label in ("A", "B"):
        made.revisions.filter(label=label).update(marks=MARKS[label], firmware=TAGS[label])
    return made


def measured(model, label, level="3", rate=60.0, vacuum=200.0, *, units=6, **changes):
    """Units of a build at one setting; rates spread by about 1, vacuums by about 3."""
    first = 50_001 if label == "B" else 1
    for k in range(units):
        unit = factories.unit(model, f"LK{first + k:06}", label)
        wobble = (k % 5) - 2
        factories.summary(unit, vacuum + 2 * wobble, CLINICS[k % 3], level=level, **changes)
        factories.summary(unit, rate - 0.7 * wobble, CLINICS[k % 3], level=level, **changes | RATE)


@pytest.fixture
def apart(model):
    """A runs at 66 a minute, B at 60; at level 5 both are alike."""
    for level in ("2", "3"):
        measured(model, "A", level, rate=66.0)
        measured(model, "B", level, rate=60.0)
    measured(model, "A", "5")
    measured(model, "B", "5")
    return model


def trace(level="3", rate=60.0, name="t.csv", *, seed=0, **said):
    """A recording of its own for each level and seed."""
    data = said.pop("data", None) or trace_bytes(rate_cpm=rate, seed=int(level or 0) + 100 * seed)
    return Trace(name, data, {"mode": "expression", "level": level, **said})


def chances(document):
    return {row["revision"]: row["probability"] for row in document["revisions"]}


def ask(**said):
    document = answer_identification("Lapwing One", **said)
    json.dumps(document)
    assert sum(chances(document).values()) == pytest.approx(1, abs=1e-3)
    return document


def test_what_is_passed_over_goes_by_its_name_and_unknown_names_are_refused(apart):
    same = ask(skipped=[" Setting ", "MEMBRANE"])
    assert same["next"] == ask(skipped=["setting", "membrane"])["next"]
    with pytest.raises(Invalid, match="no question 'membran'") as caught:
        ask(skipped=["setting", "membran"])
    assert caught.value.hint == "Did you mean membrane?"
    assert caught.value.extra == {"nearest": ["membrane"]}
    with pytest.raises(Invalid) as caught:
        ask(skipped=["zzz"])
    assert caught.value.hint == "Known: serial, firmware, setting, housing, membrane."


def test_nothing_said_cannot_tell_and_asks_what_tells_most(apart):
    document = ask()
    assert (document["verdict"], document["named"]) == ("cannot tell", None)
    assert chances(document) == {"A": 0.475, "B": 0.475, None: 0.05}
    assert document["evidence"] == []
    assert document["next"]["kind"] == "setting"
    document = ask(skipped=["setting", "serial"])
    assert document["next"]["kind"] == "mark"
    assert document["next"]["key"] == "membrane"
    assert document["next"]["options"] == ["flat", "domed"]
    assert document["next"]["bits"] > 0.6
    assert document["says"] == (
        "Lapwing One: cannot tell; nothing was said of it yet. "
        "Next: What is the membrane like: flat or domed?"
    )
    assert ask(skipped=["setting", "membrane"])["next"]["kind"] == "serial"
    assert ask(skipped=["setting", "membrane", "firmware", "serial"])["next"] is None


def test_a_mark_in_plain_words_names_the_revision(apart):
    document = ask(marks=["dome-ish membrane"])
    (piece,) = document["evidence"]
    assert piece["says"] == "membrane is domed (known: A flat, B domed)"
    assert piece["weight"] == "speaks for revision B over revision A"
    assert (piece["favours"], piece["over"]) == ("B", "A")
    assert piece["ratio"] == pytest.approx(19)
    assert document["verdict"] == "probably revision B"
    assert document["named"] == "B"
    assert "probably revision B" in document["says"]


def test_a_mark_that_parts_nothing_or_is_not_understood_counts_for_nothing(apart):
    document = ask(marks=["housing=amber", "wheels", "membrane: purple", "membrane=?"])
    assert [piece["weight"] for piece in document["evidence"]] == ["says little", *["says nothing"] * 3]
    assert document["verdict"] == "cannot tell"
    assert document["evidence"][2]["says"] == "membrane: 'purple' is none of flat, domed"
    assert chances(document)["A"] == chances(document)["B"]


def test_the_same_mark_counts_once(apart):
    once, twice = ask(marks=["membrane=flat"]), ask(marks=["membrane=flat", "flat membrane"])
    assert chances(once) == chances(twice)
    against = ask(marks=["membrane=flat", "membrane=domed"])
    assert chances(against) == chances(once)
    assert "contradicts 'flat'" in against["evidence"][1]["says"]


def test_a_declared_serial_names_its_revision_surely(apart):
    factories.span(apart, "A", "LK000001", "LK004999")
    document = ask(serial="lk 002000")
    assert document["verdict"] == "revision A"
    assert chances(document)["A"] == pytest.approx(0.98)
    assert document["next"] is None
    assert document["evidence"][0]["says"] == "LK002000 lies in a declared span of revision A"
    against = ask(serial="LK002000", marks=["membrane=domed"])
    assert against["verdict"] == "cannot tell" or against["named"] == "A"
    assert 0.6 < chances(against)["A"] < 0.8


def test_a_serial_nobody_knows_or_nobody_can_read_counts_for_nothing(apart):
    for serial in ("LK900000", "???", "LK000001 to LK000009"):
        (piece,) = ask(serial=serial)["evidence"]
        assert piece["weight"] == "says nothing"
        assert piece["says"]
        assert piece["value"] == ("LK900000" if serial == "LK900000" else None)


def test_one_recording_counts_once(apart):
    data = trace_bytes()
    with pytest.raises(Invalid, match="is the same recording as a") as caught:
        ask(traces=[trace("3", name="a.csv", data=data), trace("4", name="b.csv", data=data)])
    assert caught.value.faults[0].field == "traces"
    both = two_sided_bytes()
    sides = [trace("3", data=both, side=side) for side in ("left", "right")]
    assert len(ask(traces=sides)["evidence"]) == 2


def test_firmware_and_day_of_purchase_are_weak(apart):
    document = ask(firmware="1.2")
    assert document["evidence"][0]["weight"] == "speaks for revision B over revision A"
    assert chances(ask(firmware="1.1"))["A"] == chances(ask(firmware="1.1"))["B"]
    assert ask(firmware="9.9")["evidence"][0]["weight"] == "says nothing"
    factories.run(apart.units.get(serial="LK000001"), "north", "A")
    factories.run(apart.units.get(serial="LK050001"), "north", "B")
    (piece,) = ask(purchased=date(2025, 3, 2))["evidence"]
    assert piece["weight"] == "says little"
    assert piece["says"].startswith("first on a bench: A 20")
    with pytest.raises(Invalid):
        ask(purchased=date(1999, 1, 1))


def test_traces_at_settings_where_builds_differ_name_the_revision(apart):
    document = ask(traces=[trace("2"), trace("3")])
    assert document["named"] == "B"
    first, second = document["evidence"]
    assert first["favours"] == "B"
    assert first["measurements"]["cycle_rate"]["expected"] == {"A": 66.2333, "B": 60.2333}
    assert first["measurements"]["cycle_rate"]["value"] == pytest.approx(60, abs=0.1)
    assert first["setting"]["rig"] == USUAL
    assert "cycle rate 60.0 (A 66.2, B 60.2)" in first["says"]
    assert first["ratio"] > second["ratio"] > 1  # the same unit leans alike, so the second tells less
    assert any("gauge is not declared" in caution for caution in document["cautions"])
    assert ask(traces=[trace("2", 66.0), trace("3", 66.0)])["named"] == "A"


def test_a_trace_where_builds_are_alike_cannot_tell_and_names_a_setting_that_would(apart):
    Revision.objects.update(marks={}, firmware=[])
    document = ask(traces=[trace("5")], serial="LK900000")
    assert document["verdict"] == "cannot tell"
    following = document["next"]
    assert (following["kind"], following["mode"], following["rig"]) == ("setting", "expression", USUAL)
    assert following["level"] in ("2", "3")
    assert following["bits"] > 0.5
    assert following["ask"].startswith("Record one run at expression ")


def test_a_trace_far_from_all_builds_is_none_of_them(apart):
    document = ask(traces=[trace("2", 85.0), trace("3", 85.0)])
    assert document["named"] is None
    assert document["verdict"].endswith("none of the listed revisions")
    assert document["revisions"][0]["revision"] is None
    assert "a unit that is off" in document["says"]


def test_a_build_nobody_measured_there_is_neither_favoured_nor_excluded(apart):
    Revision.objects.create(pump_model=apart, label="C", order=3)
    document = ask(traces=[trace("2"), trace("3")])
    found = chances(document)
    assert 0.05 < found["C"] < 0.5
    assert found["B"] > found["C"]
    assert any("Revision C never measured there" in caution for caution in document["cautions"])


def test_too_few_units_name_nothing(model):
    for label, rate in (("A", 66.0), ("B", 60.0)):
        measured(model, label, rate=rate, units=2)
    document = ask(traces=[trace("3")])
    assert document["verdict"] == "cannot tell"
    if chances(document)["B"] >= 0.8:
        assert "too few units or clinics" in document["says"]


def test_a_trace_that_is_held_or_of_another_setting_counts_for_nothing(apart):
    short = trace_bytes(seconds=4)
    document = ask(traces=[trace(data=short), trace("9"), trace("3", protector="bell")])
    assert [piece["weight"] for piece in document["evidence"]] == ["says nothing"] * 3
    held, elsewhere, rig = (piece["says"] for piece in document["evidence"])
    assert held.startswith("held, so it does not count: ")
    assert elsewhere == "no build was measured at this mode and level"
    assert rig.startswith(f"no build was measured so; measured is expression 3 with {USUAL}")


def test_the_rig_that_was_said_is_the_one_compared(apart):
    measured(apart, "A", "3", rate=70.0, rig=factories.rig("bell"))
    measured(apart, "B", "3", rate=64.0, rig=factories.rig("bell"))
    document = ask(traces=[trace("3", 64.0, protector="bell", flange_mm=24, power="mains")])
    assert document["evidence"][0]["measurements"]["cycle_rate"]["expected"]["B"] == 64.2333
    assert document["evidence"][0]["favours"] == "B"


def test_two_runs_at_one_setting_are_not_two_pumps(apart):
    one = ask(traces=[trace("3", 63.5)])
    again = ask(traces=[trace("3", 63.5, seed=seed) for seed in range(4)])
    assert chances(again)["A"] == pytest.approx(chances(one)["A"], abs=0.1)


@pytest.mark.parametrize(
    ("said", "refusal", "field"),
    [
        ({"level": "3", "serial": "LK1"}, Invalid, "serial"),
        ({"level": "", "mode": "expression"}, Invalid, "level"),
        ({"level": "3", "power": "coal"}, Invalid, "power"),
        ({"level": "3", "data": two_sided_bytes()}, SideNeeded, "side"),
        ({"level": "3", "data": b"no trace at all"}, UnreadableTrace, "trace"),
    ],
)
def test_what_cannot_be_taken_of_a_trace_is_refused_with_its_name(apart, said, refusal, field):
    with pytest.raises(refusal) as refused:
        ask(traces=[trace(**said)])
    assert field in {fault.field for fault in refused.value.faults} | {"trace"}
    assert isinstance(refused.value, DomainError)


def test_a_side_of_a_file_of_both_is_measured(apart):
    document = ask(traces=[trace("3", data=two_sided_bytes(), side="left")])
    assert document["evidence"][0]["says"] == (
        f"no build was measured so; measured is expression 3 with {USUAL}, on mains"
    )


def test_bounds(apart):
    with pytest.raises(Invalid):
        ask(marks=["membrane=flat"] * 21)
    with pytest.raises(Invalid):
        ask(traces=[trace()] * 13)
    with pytest.raises(Invalid):
        ask(marks=["x" * 121])


def test_a_model_without_revisions_says_so(db):
    factories.edition()
    factories.pump_model("Bare", revisions=())
    with pytest.raises(Invalid, match="nothing to tell apart"):
        answer_identification("bare")


def test_a_model_of_one_revision_is_named_only_by_evidence(db):
    model = factories.pump_model("Alone", revisions=("I",))
    factories.edition()
    factories.span(model, "I", "LK000001", "LK004999")
    assert answer_identification("Alone")["verdict"] == "cannot tell"
    assert answer_identification("Alone", serial="LK000009")["verdict"] == "revision I"


def test_the_number_of_queries_does_not_grow_with_the_data(apart):
    factories.span(apart, "A", "LK000001", "LK004999")
    said = {"serial": "LK900000", "marks": ["membrane=flat"], "purchased": date(2025, 3, 2)}

    def queries():
        with CaptureQueriesContext(connection) as caught:
            ask(**said, traces=[trace("5")])
        return len(caught)

    before = queries()
    for level in ("6", "7", "8"):
        measured(apart, "A", level, units=9)
        measured(apart, "B", level, units=9)
    assert queries() == before <= 30


def test_nothing_is_stored(apart):
    tables = connection.introspection.table_names()

    def sizes():
        with connection.cursor() as cursor:
            found = {}
            for table in tables:
                cursor.execute(f'SELECT count(*) FROM "{table}"')
                found[table] = cursor.fetchone()[0]
        return found

    before = sizes()
    ask(traces=[trace("3")], marks=["membrane=flat"])
    assert sizes() == before


def test_of_very_many_units_some_are_enough(apart):
    measured(apart, "A", "7", rate=66.0, units=200)
    measured(apart, "B", "7", rate=60.0, units=200)
    document = ask(traces=[trace("7", 60.0)])
    assert document["evidence"][0]["favours"] == "B"
    assert document["evidence"][0]["measurements"]["cycle_rate"]["expected"]["B"] == pytest.approx(
        60, abs=0.2
    )


def test_a_pump_is_not_bought_before_its_serial_says_it_was_made(apart):
    scheme = apart.serial_schemes.get()
    scheme.pattern, scheme.order = r"(?P<plant>[A-Z]{2})(?P<yw>\d{4})(?P<number>\d{2})", ["yw", "number"]
    scheme.date = {"group": "yw", "form": "YYWW", "base": 2020}
    scheme.save()
    factories.run(apart.units.get(serial="LK000001"), "north", "A")
    early = ask(serial="LK250301", purchased=date(2024, 6, 1))["evidence"]
    assert "made" in early[0]["says"]
    assert early[1]["weight"] == "says nothing"
    assert "but its serial says it was made" in early[1]["says"]
    later = ask(serial="LK250301", purchased=date(2025, 6, 1))["evidence"]
    assert later[1]["says"].startswith("first on a bench")


def test_an_inferred_serial_is_as_likely_as_the_serials_answer_states(apart):
    for number in ("000001", "000006"):
        factories.run(apart.units.get(serial=f"LK{number}"), "north", "A")
    document = ask(serial="LK000004")
    (span,) = answer_serials("Lapwing One", "LK000004")["spans"]
    assert (span["revision"], span["basis"]) == ("A", "inferred")
    assert "lies between units of revision A" in document["evidence"][0]["says"]
    assert chances(document)["A"] == pytest.approx(min(span["probability"], 0.98), abs=1e-3)

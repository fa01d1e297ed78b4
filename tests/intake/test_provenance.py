"""Provenance: a closed list of keys, values understood however a spreadsheet writes them."""

from datetime import UTC, datetime, timedelta

import pytest

from registry.errors import Invalid, UnknownProvenanceKey
from registry.intake.provenance import KEYS, understand
from registry.models import Clinic, Operator
from tests.declared import provenance


def test_an_unknown_key_is_refused_and_named():
    with pytest.raises(UnknownProvenanceKey) as caught:
        understand(provenance(patient="somebody", age=31))
    assert [fault.field for fault in caught.value.faults] == ["age", "patient"]


def test_no_key_of_the_list_could_hold_a_client():
    assert not {"patient", "client", "name", "parent", "child", "age", "birth", "email"} & set(KEYS)


def test_every_fault_is_told_at_once():
    with pytest.raises(Invalid) as caught:
        understand({"serial": "LK1", "mode": "boost", "flange_mm": "wide", "power": "coal"})
    assert {fault.field for fault in caught.value.faults} == {
        "pump_model",
        "mode",
        "level",
        "flange_mm",
        "power",
    }


@pytest.mark.parametrize("level", [3, 3.0, "3", " 3 ", "3.0"])
def test_a_level_is_the_same_however_it_is_written(level):
    assert understand(provenance(level=level)).level == "3"


def test_numbers_as_text_make_the_same_run():
    as_numbers = understand(provenance(flange_mm=24))
    as_cells = understand(provenance(flange_mm="24.0", load_ml=" ", tubing=""))
    me = Operator(pseudonym="thyme", clinic=Clinic(code="elmsworth"))
    other = Operator(pseudonym="thyme", clinic=Clinic(code="brackwater"))
    assert as_numbers.identity(me, "d") == as_cells.identity(me, "d")
    assert as_numbers.identity(me, "d") != as_numbers.identity(other, "d")
    meant = understand(provenance(serial="lk 000-123", pump_model="LARKSPUR TWO", operator="thyme"))
    assert meant.identity(me, "d") == as_numbers.identity(me, "d")
    assert understand(provenance(serial="LK000124")).identity(me, "d") != as_numbers.identity(me, "d")


@pytest.mark.parametrize(
    ("said", "understood"),
    [
        ("mains", ("mains", None)),
        ("Battery", ("battery", None)),
        ("battery 80", ("battery", 80.0)),
        ("battery 80 %", ("battery", 80.0)),
    ],
)
def test_power_with_and_without_charge(said, understood):
    assert understand(provenance(power=said)).power == understood


@pytest.mark.parametrize("said", ["battery 180", "mains 50", "solar", ""])
def test_power_that_cannot_be(said):
    if said:
        with pytest.raises(Invalid):
            understand(provenance(power=said))
    else:
        assert understand(provenance(power=said)).power == ("", None)


@pytest.mark.parametrize("value", [float("nan"), float("inf"), "nan", True, [], "1e999"])
def test_a_number_must_be_one(value):
    with pytest.raises(Invalid, match="load_ml"):
        understand(provenance(load_ml=value))


def test_a_time_in_the_future_is_refused_and_zones_are_kept_apart():
    with pytest.raises(Invalid, match="recorded_at"):
        understand(provenance(recorded_at=(datetime.now(UTC) + timedelta(days=3)).isoformat()))
    eastern = understand(provenance(recorded_at="2026-03-02T12:00:00+02:00"))
    assert eastern.recorded_at == datetime(2026, 3, 2, 10, tzinfo=UTC)


def test_elevation_and_ambient_exclude_each_other():
    with pytest.raises(Invalid, match="ambient_kpa"):
        understand(provenance(elevation_m=100, ambient_kpa=99))


def test_what_was_said_can_be_said_again():
    first = understand(provenance(power="battery 80", note="second try"))
    assert understand(first.as_said()) == first


@pytest.mark.parametrize("serial", ["ß" * 30, "--", "9" * 61, "A\x00B"])
def test_a_serial_no_label_bears_is_refused(serial):
    with pytest.raises(Invalid, match="serial"):
        understand(provenance(serial=serial))


def test_a_number_beyond_all_bounds_is_refused_as_one():
    with pytest.raises(Invalid, match="flange_mm"):
        understand(provenance(flange_mm=10**400))


def test_what_is_said_of_the_file_is_part_of_the_identity():
    me = Operator(clinic=Clinic(code="elmsworth"), pseudonym="thyme")

    def identity(**said):
        return understand(provenance(**said)).identity(me, "d")

    assert identity(side="single") == identity()
    assert identity(unit="kpa", rate_hz="50", vacuum_column="P 1") == identity(
        unit="kPa", rate_hz=50.0, vacuum_column="p 1"
    )
    said = ({}, {"unit": "kPa"}, {"unit": "mbar"}, {"rate_hz": 50}, {"sign": "absolute"}, {"side": "left"})
    assert len({identity(**one) for one in said}) == len(said)


@pytest.mark.parametrize(("unit", "understood"), [("KPA", "kPa"), (" mm Hg ", "mmHg"), ("millibar", "mbar")])
def test_a_unit_is_known_by_any_of_its_names(unit, understood):
    assert understand(provenance(unit=unit)).unit == understood

"""The keys and how their texts become values."""

import pytest

from client_cli.provenance import NAMES, REQUIRED, column_name, from_texts, missing, nearest_key, typed


def test_the_keys_are_those_of_the_contract():
    assert set(NAMES) == {
        *("pump_model", "serial", "revision", "firmware", "mode", "programme", "level", "flange_mm", "side"),
        *("protector", "valve", "tubing", "load_ml", "gauge", "operator", "recorded_at", "power"),
        *("elevation_m", "ambient_kpa", "zero_offset", "note", "unit", "rate_hz", "vacuum_column", "sign"),
    }
    assert set(REQUIRED) == {"pump_model", "serial", "mode", "level"}


@pytest.mark.parametrize(
    ("key", "text", "value"),
    [
        ("flange_mm", "24", 24),
        ("flange_mm", "24,5", 24.5),
        ("zero_offset", "-0.3", -0.3),
        ("load_ml", " 30 ", 30),
        ("load_ml", "a cup", "a cup"),
        ("load_ml", "1,000.5", "1,000.5"),
        ("level", "3", 3),
        ("level", "03", "03"),
        ("level", "max", "max"),
        ("serial", "000123", "000123"),
        ("power", "battery 80", "battery 80"),
        ("firmware", "1.10", "1.10"),
    ],
)
def test_numbers_become_numbers_and_nothing_else_does(key, text, value):
    made = typed(key, text)
    assert made == value
    assert type(made) is type(value)


def test_empty_texts_are_left_out_and_missing_ones_named():
    provenance = from_texts({"serial": " A1 ", "note": " ", "mode": None, "level": "2"})
    assert provenance == {"serial": "A1", "level": 2}
    assert missing(provenance) == ["pump_model", "mode"]


def test_headings_as_people_write_them():
    assert [column_name(text) for text in ("Pump model", "flange-mm", " LEVEL ")] == [
        "pump_model",
        "flange_mm",
        "level",
    ]
    assert nearest_key("leval") == "level"
    assert nearest_key("fille", "file") == "file"
    assert nearest_key("patient") is None

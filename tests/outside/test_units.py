"""Factors of pressure units against published tables and an independent library."""

import numpy as np
import pint
import pytest
import scipy.constants

from registry.waveform import Declared, read
from registry.waveform.units import PASCALS, mmhg_per, unit_named

# NIST Special Publication 811 (2008), appendix B.8, factors to Pa as printed, seven digits.
# cmH2O and Torr are given from memory.
NIST_SP811 = {
    "mmHg": 1.333224e2,
    "Torr": 1.333224e2,
    "inHg": 3.386389e3,
    "cmHg": 1.333224e3,
    "cmH2O": 9.80665e1,
    "mmH2O": 9.80665,
    "inH2O": 2.490889e2,
    "psi": 6.894757e3,
    "mbar": 1.0e2,
    "bar": 1.0e5,
    "atm": 1.01325e5,
}
REGISTRY = pint.UnitRegistry()
PINT = {
    "mmHg": "mmHg",
    "Torr": "torr",
    "inHg": "inHg",
    "cmHg": "cmHg",
    "cmH2O": "cmH2O",
    "mmH2O": "mmH2O",
    "inH2O": "inH2O",
    "psi": "psi",
    "Pa": "Pa",
    "hPa": "hPa",
    "kPa": "kPa",
    "MPa": "MPa",
    "mbar": "mbar",
    "bar": "bar",
    "atm": "atm",
}


@pytest.mark.parametrize(("name", "pascals"), NIST_SP811.items())
def test_factors_agree_with_nist_sp_811_to_its_seven_digits(name, pascals):
    assert PASCALS[name] == pytest.approx(pascals, rel=5e-7)


@pytest.mark.parametrize(("name", "other"), PINT.items())
def test_factors_agree_with_pint(name, other):
    assert PASCALS[name] == pytest.approx(REGISTRY.Quantity(1, other).to("Pa").magnitude, rel=1e-12)


def test_every_unit_the_reader_knows_is_checked():
    assert set(PINT) == set(PASCALS)
    # Multiples of the pascal are exact; all other units stand in the table of SP 811 as well.
    assert set(PASCALS) - set(NIST_SP811) == {"Pa", "hPa", "kPa", "MPa"}


@pytest.mark.parametrize(("name", "other"), PINT.items())
def test_a_trace_in_any_unit_is_read_as_pint_converts_it(name, other):
    at = np.arange(0, 12, 0.02)
    mmhg = 120 - 100 * np.cos(2 * np.pi * at)
    shown = (mmhg * REGISTRY.Quantity(1, "mmHg")).to(other).magnitude
    rows = "\n".join(f"{t:.2f},{v:.12g}" for t, v in zip(at, shown, strict=True))
    reading = read(f"Time (s),Vacuum ({name})\n{rows}\n".encode(), Declared())
    assert reading.understood.vacuum_unit == name
    assert reading.vacuum == pytest.approx(mmhg, rel=1e-9)


def test_the_conventional_mmhg_is_not_the_torr():
    # 13 595.1 kg/m3 * 9.806 65 m/s2 * 1 mm (ISO 80000-4, from memory); scipy's mmHg is 101325/760, the torr.
    assert PASCALS["mmHg"] == pytest.approx(13595.1 * 9.80665 * 1e-3, rel=1e-12)
    assert PASCALS["Torr"] == pytest.approx(scipy.constants.mmHg, rel=1e-12)
    assert scipy.constants.mmHg == scipy.constants.torr
    assert PASCALS["Torr"] / PASCALS["mmHg"] - 1 == pytest.approx(-1.4247e-7, rel=1e-3)


def test_psi_is_the_pound_force_on_a_square_inch():
    assert PASCALS["psi"] == pytest.approx(scipy.constants.psi, rel=1e-12)


def test_known_conversions():
    # Computed from the definitions with another library (pint 0.25).
    assert 350 / mmhg_per("kPa") == pytest.approx(46.66283559525, rel=1e-12)
    assert 20 * mmhg_per("kPa") == pytest.approx(150.01231516913, rel=1e-12)


@pytest.mark.parametrize(
    ("word", "name"),
    [
        ("MMHG", "mmHg"),
        ("mm Hg", "mmHg"),
        ("in hg", "inHg"),
        ("cmH₂O", "cmH2O"),
        ("PSI", "psi"),
        ("mPa", None),
    ],
)
def test_words_for_units(word, name):
    assert unit_named(word) == name

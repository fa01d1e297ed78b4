"""Ranges, resolutions and accuracies as people write them."""

import pytest

from registry.intake.quantities import read_accuracy, read_pressure, read_range


# 1 kPa = 7.500617 mmHg, 1 inHg = 25.4 mmHg, 1 mbar = 0.7500617 mmHg (NIST SP 811 factors, conventional mmHg).
@pytest.mark.parametrize(
    ("text", "mmhg"), [("0.1 mmHg", 0.1), ("0,1 mmHg", 0.1), ("1 kPa", 7.500616), ("1 inHg", 25.4)]
)
def test_pressures(text, mmhg):
    assert read_pressure(text) == pytest.approx(mmhg, rel=1e-6)


@pytest.mark.parametrize(
    ("text", "ends"),
    [
        ("0..400 mmHg", (0, 400)),
        ("-60..0 kPa", (0, 450.037)),
        ("-100..100 kPa", (-750.0617, 750.0617)),
        ("0 to 300 mbar", (0, 225.0185)),
    ],
)
def test_ranges(text, ends):
    assert read_range(text) == pytest.approx(ends, rel=1e-5)


@pytest.mark.parametrize(
    ("text", "mmhg", "fraction"),
    [
        ("0.5 % FS", 2.0, 0.0),
        ("±1 % of reading", 0.0, 0.01),
        ("2 mmHg", 2.0, 0.0),
        ("1 % rdg + 0.5 mmHg", 0.5, 0.01),
        ("0,25 % full scale", 1.0, 0.0),
    ],
)
def test_accuracies(text, mmhg, fraction):
    accuracy = read_accuracy(text, 400)
    assert (accuracy.mmhg, accuracy.fraction) == pytest.approx((mmhg, fraction))


@pytest.mark.parametrize("text", ["", "good", "1 %", "0 mmHg", "-1 % FS", "5", "1 furlong"])
def test_an_accuracy_nobody_can_use(text):
    with pytest.raises(ValueError, match=r"must|no unit"):
        read_accuracy(text, 400)


@pytest.mark.parametrize("text", ["400", "0..400", "5..5 mmHg", "0..400 m"])
def test_a_range_nobody_can_use(text):
    with pytest.raises(ValueError, match=r"must|no unit"):
        read_range(text)

"""Units measured at settings, as tests of needs and likenesses have them."""

from tests import factories

CLINICS = ("north", "south", "east")
RATE = {
    "metric": "cycle_rate",
    "metric_unit": "cycles/min",
    "sum_squares": 0.1,
    "u_random": 0.1,
    "u_systematic": 0.01,
}


def setting(model, label, level, rate, vacuum, *, units=9, start=None, **changes):
    """Units of a build at one setting; rates spread by about 1, vacuums by about 3."""
    first = start or (50_001 if label == "B" else 1)
    for k in range(units):
        unit = factories.unit(model, f"LK{first + k:06}", label)
        wobble = (k % 5) - 2
        factories.summary(unit, vacuum + 2 * wobble, CLINICS[k % 3], level=level, **changes)
        factories.summary(unit, rate - 0.7 * wobble, CLINICS[k % 3], level=level, **changes | RATE)

"""What a comparison says in words: close calls, too little to begin with, what it takes for granted."""

import pytest

from registry.answers.comparing.comparisons import answer_comparison
from registry.answers.comparing.telling import says_compared
from tests import factories
from tests.answers.comparing.test_comparisons import APART, CLINICS, LEAN, RATE, bench, both

pytestmark = pytest.mark.django_db


@pytest.fixture
def model():
    return factories.pump_model()


@pytest.mark.parametrize(("rate", "reached"), [(69.7, False), (70.2, True)])
def test_a_rate_close_to_seventy_is_not_told_for_sure(model, rate, reached) -> None:
    both(model, 240, 240)
    both(model, 75, rate, lean=0.0, **RATE)
    document = answer_comparison("Lapwing One", "A", "B")
    (still,) = document["reach"]
    assert (still["reached"], still["sure"]) == (reached, False)
    assert document["says"].endswith(
        "Whether revision B still reaches 70 cycles/min at 240 mmHg cannot be told yet."
    )


def test_the_line_says_whether_a_difference_matters(model) -> None:
    both(model, 240, 230)
    assert (
        "different, perhaps by less than matters; peak" in answer_comparison("Lapwing One", "A", "B")["says"]
    )
    both(model, 240, 200, level="4")
    assert "different by more than matters; peak" in answer_comparison("Lapwing One", "A", "B")["says"]


def different(new: float, apart: float = 3.0) -> dict:
    """A row about a vacuum that was 240 mmHg, known to so many mmHg either way."""
    return {
        "metric": "peak_vacuum",
        "mode": "expression",
        "programme": "",
        "level": "3",
        "old": 240.0,
        "new": new,
        "difference": new - 240.0,
        "low": new - 240.0 - apart,
        "high": new - 240.0 + apart,
        "percent": (new - 240.0) / 2.4,
        "percent_low": (new - 240.0 - apart) / 2.4,
        "percent_high": (new - 240.0 + apart) / 2.4,
        "unit": "mmHg",
        "margin": 10.0,
        "matters": "yes",
        "verdict": "different",
        "spreads": None,
    }


def test_the_line_tells_a_setting_measured_on_two_rigs_once() -> None:
    rows = [different(210.0), different(200.0)]
    line = says_compared("Lapwing One", ("revision A", "revision B"), rows, [], [])
    assert line.count("peak vacuum at expression 3") == 1
    assert "from 240 to 200 mmHg (down 17 %). Of 2 values" in line


@pytest.mark.parametrize(
    ("new", "apart", "words"),
    [
        (229.27, 9.0, "from 240 to 229 mmHg (down 4 %)"),
        (229.27, 1.5, "from 240 to 229 mmHg (down 4.5 %)"),
        (98.6, 1.5, "from 240 to 98.6 mmHg (down 59 %)"),
        (98.6, 90.0, "from 240 to 99 mmHg (down 59 %)"),
        (1201.4, 960.0, "from 240 to 1200 mmHg (up 400 %)"),
    ],
)
def test_the_line_has_no_more_digits_than_intervals_support(new, apart, words) -> None:
    names = ("revision A", "revision B")
    assert words in says_compared("Lapwing One", names, [different(new, apart)], [], [])


def test_one_vacuum_is_not_both_lost_and_open() -> None:
    still = [
        {"vacuum": vacuum, "reached": False, "sure": sure}
        for vacuum, sure in ((163.6, True), (164.4, False), (167.2, False))
    ]
    line = says_compared("Lapwing One", ("revision A", "revision B"), [different(200.0)], still, [])
    assert line.endswith(
        "At 164 mmHg revision B no longer reaches 70 cycles/min. "
        "Whether revision B still reaches 70 cycles/min at 167 mmHg cannot be told yet."
    )


def test_a_single_unit_is_not_asked_for_more_of_its_kind(model) -> None:
    both(model, clinics=("north",), per_clinic=2)
    document = answer_comparison("Lapwing One", "unit:LK000001", "unit:LK050001")
    assert document["settings"][0]["needs"] is None
    assert "cannot tell yet; record unit LK000001 and unit LK050001 again" in document["says"]


def test_too_few_units_to_begin_with_are_said_to_be_so(model) -> None:
    both(model, 240, 250, clinics=("north",), per_clinic=1)
    says = answer_comparison("Lapwing One", "A", "B")["says"]
    assert "too few units to begin with, measure at least 3 more units of each at 2 clinics" in says


def test_builds_that_scatter_unlike_are_named(model) -> None:
    bench(model, "A", 240, start=1)
    for c, code in enumerate(CLINICS):
        for k in range(4):
            unit = factories.unit(model, f"LK{50_001 + 100 * c + k:06}", "B")
            factories.summary(unit, 240 + LEAN[code] + 14 * APART[k], code)
    document = answer_comparison("Lapwing One", "A", "B")
    assert "Units of revision B clearly scatter more" in document["cautions"][0]
    (row,) = document["settings"]
    assert row["high"] - row["low"] > 12


def test_a_build_known_by_one_unit_is_named(model) -> None:
    bench(model, "A", 240, start=1)
    factories.summary(factories.unit(model, "LK050001", "B"), 200.0)
    document = answer_comparison("Lapwing One", "A", "B")
    assert any("One unit stands for revision B" in told for told in document["cautions"])

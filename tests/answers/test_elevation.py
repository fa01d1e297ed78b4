"""Only what was measured in like air is pooled and compared, and what was not is said."""

from datetime import datetime

import pytest

from registry.answers.claiming.claims import answer_claims
from registry.answers.comparing.comparisons import answer_comparison
from registry.answers.comparing.swaps import answer_swap
from registry.answers.distributions.answer import answer_distributions
from registry.answers.filters import chosen_elevation
from registry.answers.matching.settings import answer_settings
from registry.errors import Invalid
from registry.intake.summaries import refresh_summaries
from registry.models import Measurement
from tests import factories
from tests.answers.comparing.test_comparisons import bench

pytestmark = pytest.mark.django_db
LOW, MIDDLE, HIGH = "below 500 m", "500-1500 m", "above 1500 m"


@pytest.fixture
def model():
    return factories.pump_model()


def test_builds_measured_in_unlike_air_are_not_compared(model) -> None:
    bench(model, "A", 240, start=1, elevation=LOW)
    bench(model, "B", 210, start=50_001, elevation=HIGH)
    document = answer_comparison("Lapwing One", "A", "B")
    assert document["settings"] == []
    (row,) = document["left_out"]
    assert row["why"] == "never measured alike: elevation below 500 m against above 1500 m"
    assert "elevation below 500 m against above 1500 m" in document["says"]


def test_a_difference_is_worked_out_within_bands(model) -> None:
    # The old build was mostly measured low, the new one mostly high: over all they would seem far apart.
    for band, shift, sizes in ((LOW, 0, (4, 1)), (HIGH, -60, (1, 4))):
        bench(model, "A", 240 + shift, start=1, per_clinic=sizes[0], elevation=band)
        bench(model, "B", 222 + shift, start=50_001, per_clinic=sizes[1], elevation=band)
    (row,) = answer_comparison("Lapwing One", "A", "B")["settings"]
    assert row["elevation"] == f"{LOW}; {HIGH}"
    assert row["difference"] == pytest.approx(-18, abs=1.5)
    assert row["verdict"] == "different"
    assert [(one["elevation"], one["difference"]) for one in row["by_elevation"]] == [
        (LOW, pytest.approx(-18, abs=1.5)),
        (HIGH, pytest.approx(-18, abs=1.5)),
    ]
    assert row["new"] - row["old"] == pytest.approx(row["difference"])
    (high,) = answer_comparison("Lapwing One", "A", "B", elevation="2100")["settings"]
    assert (high["elevation"], high["by_elevation"]) == (HIGH, [])


def test_a_band_that_one_side_alone_was_measured_in_does_not_count(model) -> None:
    bench(model, "A", 240, start=1, elevation=LOW)
    bench(model, "B", 240, start=50_001, elevation=LOW)
    bench(model, "A", 150, start=1, elevation=HIGH)
    bench(model, "A", 190, start=1, elevation="")
    (row,) = answer_comparison("Lapwing One", "A", "B")["settings"]
    assert (row["elevation"], row["old"]) == (LOW, pytest.approx(240, abs=1))


def test_a_difference_that_is_another_one_in_thin_air_is_told_so(model) -> None:
    for band, apart in ((LOW, 0), (HIGH, -60)):
        bench(model, "A", 240, start=1, elevation=band)
        bench(model, "B", 240 + apart, start=50_001, elevation=band)
    document = answer_comparison("Lapwing One", "A", "B")
    assert any("not the same at all elevations" in caution for caution in document["cautions"])
    low, high = document["settings"][0]["by_elevation"]
    assert (low["difference"], high["difference"]) == (pytest.approx(0, abs=1), pytest.approx(-60, abs=1))
    one = answer_comparison("Lapwing One", "A", "B", elevation="low")
    assert not any("not the same at all elevations" in caution for caution in one["cautions"])


def test_air_nobody_told_is_a_band_of_its_own_and_what_to_say_is_said(model) -> None:
    bench(model, "A", 240, start=1)
    bench(model, "B", 240, start=50_001, elevation=LOW)
    document = answer_comparison("Lapwing One", "A", "B")
    assert document["settings"] == []
    assert document["left_out"][0]["why"] == (
        "never measured alike: elevation not said against below 500 m. Nobody said it of revision A: upload "
        "those runs again with elevation_m or ambient_kpa, or record new ones."
    )
    assert "Nobody said it of revision A" in document["says"]


def test_where_nobody_said_any_elevation_all_is_compared(model) -> None:
    bench(model, "A", 240, start=1)
    bench(model, "B", 240, start=50_001)
    (row,) = answer_comparison("Lapwing One", "A", "B")["settings"]
    assert (row["elevation"], row["verdict"]) == ("", "same")


def test_distributions_have_a_cell_a_band(model) -> None:
    bench(model, "A", 240, start=1, elevation=LOW)
    bench(model, "A", 190, start=1, elevation=HIGH)
    document = answer_distributions("Lapwing One")
    assert [(cell["elevation"], cell["units"]) for cell in document["cells"]] == [(LOW, 12), (HIGH, 12)]
    assert "below 500 m" in document["says"]
    (cell,) = answer_distributions("Lapwing One", elevation="low")["cells"]
    assert cell["elevation"] == LOW
    assert answer_distributions("Lapwing One", elevation="not said")["cells"] == []


def test_a_past_time_keeps_bands_apart_too(model) -> None:
    edition = factories.edition()
    for k in range(6):
        for metres, value in ((20, 240.0), (1800, 200.0), (None, 230.0)):
            run = factories.run(
                factories.unit(model, f"LK{k:06}", "A"), ("north", "south")[k % 2], elevation_m=metres
            )
            Measurement.objects.create(
                run=run, edition=edition, metric="peak_vacuum", value=value + k, unit="mmHg", u=0.5,
                u_random=0.3, u_systematic=0.4,
            )  # fmt: skip
            refresh_summaries(run)
    now = answer_distributions("Lapwing One")
    again = answer_distributions("Lapwing One", as_of=datetime.fromisoformat(now["as_of"]))
    assert [cell["elevation"] for cell in now["cells"]] == [LOW, HIGH, ""]
    assert again["cells"] == now["cells"]
    one = answer_distributions("Lapwing One", elevation="high", as_of=datetime.fromisoformat(now["as_of"]))
    assert one["cells"] == [cell for cell in now["cells"] if cell["elevation"] == HIGH]


def test_settings_and_claims_tell_their_band(model) -> None:
    bench(model, "A", 240, start=1, elevation=MIDDLE)
    bench(model, "A", 200, start=1, elevation=HIGH)
    rows = answer_settings("Lapwing One", needs={"vacuum": "220.."})["settings"]
    assert [(row["elevation"], row["probability"] > 0.5) for row in rows] == [(MIDDLE, True), (HIGH, False)]
    (only,) = answer_settings("Lapwing One", needs={"vacuum": "220.."}, elevation="high")["settings"]
    assert only["elevation"] == HIGH
    model.claims.create(
        metric="peak_vacuum", relation="at least", value=220, unit="mmHg", mode="expression", source="leaflet"
    )
    (claim,) = answer_claims("Lapwing One", revision="A")["claims"]
    assert claim["setting"]["elevation"] in (MIDDLE, HIGH)


def test_claims_are_judged_by_the_runs_of_the_band_asked_for(model) -> None:
    for label, start, peaks in (("A", 1, (240, 200)), ("B", 50_001, (240, 140))):
        for band, peak in zip((MIDDLE, HIGH), peaks, strict=True):
            bench(model, label, peak, start=start, elevation=band)
    said = {"metric": "peak_vacuum", "unit": "mmHg", "mode": "expression", "source": "leaflet"}
    model.claims.create(relation="at least", value=220, **said)
    model.claims.create(relation="same as before", value=0, **said)

    def verdicts(elevation: str) -> list[str]:
        rows = answer_claims("Lapwing One", elevation=elevation)["claims"]
        assert {row["setting"]["elevation"] for row in rows if row["setting"]} <= {MIDDLE, HIGH}
        return [row["verdict"] for row in rows]

    assert verdicts("middle") == ["upheld", "upheld", "upheld"]
    assert verdicts("1800") == ["not upheld", "not upheld", "not upheld"]
    assert verdicts("low") == ["not measured"] * 3


def test_a_swap_takes_its_four_runs_from_one_band(model) -> None:
    for label, start, protector, band in (
        ("A", 1, "cup", LOW),
        ("A", 1, "membrane", LOW),
        ("B", 50_001, "cup", LOW),
        ("B", 50_001, "membrane", HIGH),
    ):
        bench(model, label, 240, start=start, rig=factories.rig(protector), elevation=band)
    document = answer_swap("Lapwing One", "A", "B", "protector", old_part="cup", new_part="membrane")
    assert document["settings"] == []
    (says,) = [row["says"] for row in document["missing"] if row["elevation"] == LOW]
    assert says.startswith(
        "Record revision B with protector membrane at expression 3 on mains below 500 m, the"
    )


@pytest.mark.parametrize(
    ("said", "band"),
    [
        (None, None),
        (" ", None),
        ("Low", LOW),
        ("MIDDLE", MIDDLE),
        ("high", HIGH),
        ("500-1500 m", MIDDLE),
        ("620", MIDDLE),
        ("1620 m", HIGH),
        (-5, LOW),
        ("Not  said", ""),
    ],
)
def test_bands_as_people_name_them(said, band) -> None:
    assert chosen_elevation(said) == band


def test_what_is_no_band_is_refused() -> None:
    with pytest.raises(Invalid) as caught:
        chosen_elevation("alpine")
    assert [fault.field for fault in caught.value.faults] == ["elevation"]
    assert "low, middle, high" in caught.value.hint

"""What questions over HTTP are asked with: names in any case, times as printed, refusals that help."""

import pytest

from tests import factories

pytestmark = pytest.mark.django_db
DISTRIBUTIONS = "/api/v1/distributions"


@pytest.fixture(autouse=True)
def benches():
    """Three units of revision A."""
    model = factories.pump_model()
    for k in range(3):
        factories.summary(factories.unit(model, f"LK{k:06}", "A"), 240.0 + k, "elmsworth")


@pytest.mark.parametrize("asked", [{"mode": "Expression"}, {"mode": " EXPRESSION "}, {"power": "Mains"}])
def test_names_are_taken_whatever_their_capitals(stranger, asked) -> None:
    whole = stranger.get(DISTRIBUTIONS, {"model": "Lapwing One"}).json()["cells"]
    assert whole
    assert stranger.get(DISTRIBUTIONS, {"model": "Lapwing One", **asked}).json()["cells"] == whole


@pytest.mark.parametrize(
    ("address", "asked", "names"),
    [
        (DISTRIBUTIONS, {"mode": "expresion"}, "stimulation, expression"),
        (DISTRIBUTIONS, {"power": "solar"}, "mains, battery"),
        ("/api/v1/comparisons", {"old": "A", "new": "B", "mode": "pump"}, "stimulation, expression"),
        ("/api/v1/settings-matches", {"rate": "70..", "power": "sun"}, "mains, battery"),
        ("/api/v1/exports", {"of": "bogus"}, "distributions"),
    ],
)
def test_an_unknown_name_is_answered_with_those_there_are(stranger, address, asked, names) -> None:
    refused = stranger.get(address, {"model": "Lapwing One", **asked})
    assert refused.status_code == 422
    assert names in refused.json()["detail"]


def test_the_advice_on_a_question_speaks_of_asking_not_of_storing(stranger) -> None:
    hint = stranger.get(DISTRIBUTIONS, {"model": "Lapwing One", "mode": "x"}).json()["hint"]
    assert hint == "Correct that and ask again."


@pytest.mark.parametrize("said", ["yesterday", "2026-13-01", "12:00", "9999-12-31T23:59:59-14:00"])
def test_what_is_no_time_is_answered_with_how_to_write_one(stranger, said) -> None:
    refused = stranger.get(DISTRIBUTIONS, {"model": "Lapwing One", "as_of": said})
    assert refused.status_code == 422
    assert "2026-03-01T12:00Z" in refused.json()["detail"]


def test_a_stamp_pasted_into_an_address_is_read_as_it_was_printed(stranger) -> None:
    """There `+` means a blank."""
    stamped = stranger.get(DISTRIBUTIONS, {"model": "Lapwing One"}).json()["as_of"]
    again = stranger.get(f"{DISTRIBUTIONS}?model=Lapwing+One&as_of={stamped}")
    assert again.status_code == 200
    assert again.json()["as_of"] == stamped

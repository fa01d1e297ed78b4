"""An answer made again for a past time is the answer of that time."""

from datetime import UTC, datetime, timedelta

import pandas as pd
import pytest
from django.utils import timezone

from registry.answers.comparing.comparisons import answer_comparison
from registry.answers.distributions.answer import answer_distributions
from registry.answers.summaries import summary_frame
from registry.errors import Invalid
from registry.intake.rejudge import settle_unit
from registry.intake.summaries import refresh_summaries
from registry.intake.withdraw import withdraw
from registry.models import Measurement, Run, RunWas, UnitWas
from tests import factories

# Each step is a transaction of its own, as the database's clock stands still within one.
pytestmark = pytest.mark.django_db(transaction=True)

CLINICS = ("north", "south", "east")


def recorded(
    model, serial: str, code: str, value: float, *, gauge: str = "G1", state: str = "accepted"
) -> Run:
    """A stored run of revision A with a peak vacuum, and its cell brought up to date."""
    unit = factories.unit(model, serial, "A")
    run = factories.run(unit, code, "A", state=state, gauge_code=gauge)
    Measurement.objects.create(
        run=run,
        edition=factories.edition(),
        metric="peak_vacuum",
        unit="mmHg",
        value=value,
        u=1.1,
        u_random=0.4,
        u_systematic=1.0,
    )
    refresh_summaries(run)
    return run


@pytest.fixture
def model():
    factories.edition()
    made = factories.pump_model()
    for c, code in enumerate(CLINICS):
        for k in range(3):
            for again in range(3):
                recorded(made, f"LK{100 * c + k:06}", code, 240.0 + 2 * c + 3 * k + 0.7 * again)
    recorded(made, "LK000000", "north", 251.0, gauge="G2")
    return made


def asked(**changes) -> dict:
    return answer_distributions("Lapwing One", **changes)


def made_again(then: dict, **changes) -> dict:
    return asked(as_of=datetime.fromisoformat(then["as_of"]), **changes)


def same_but_for_words(then: dict, again: dict) -> bool:
    words = ("says", "cautions", "left_out")
    return all(then[name] == again[name] for name in then if name not in words)


def test_nothing_happened(model) -> None:
    then = asked()
    again = made_again(then)
    assert then["cells"][0]["runs"] == 28
    assert same_but_for_words(then, again)
    assert again["says"].endswith(f"(as of {then['as_of'][:16].replace('T', ' ')} UTC).")
    assert any("Made again" in caution for caution in again["cautions"])


def test_runs_that_came_later_do_not_count(model) -> None:
    then = asked()
    recorded(model, "LK000500", "west", 300.0)
    assert asked()["cells"][0]["clinics"] == 4
    assert same_but_for_words(then, made_again(then))


def test_a_run_withdrawn_later_counts_as_it_did(model) -> None:
    then = asked()
    run = Run.objects.first()
    withdraw(run.pk, factories.operator("north"), "leak found")
    assert asked()["cells"][0]["runs"] == 27
    again = made_again(then)
    assert same_but_for_words(then, again)
    assert (asked()["left_out"]["withdrawn"], again["left_out"]["withdrawn"]) == (1, 0)


def test_a_run_held_and_set_free_counts_as_it_did_each_time(model) -> None:
    run = recorded(model, "LK000001", "north", 230.0, state="held")
    held = asked()
    run.state = "accepted"
    run.save()
    refresh_summaries(run)
    free = asked()
    run.state = "held"
    run.save()
    refresh_summaries(run)
    run.state = "accepted"
    run.save()
    refresh_summaries(run)
    assert [doc["cells"][0]["runs"] for doc in (held, free)] == [28, 29]
    assert same_but_for_words(held, made_again(held))
    assert same_but_for_words(free, made_again(free))
    assert (made_again(held)["left_out"]["held"], made_again(free)["left_out"]["held"]) == (1, 0)
    assert made_again(held)["left_out"]["held_for"] is None


def test_a_unit_is_of_the_build_it_was_taken_for(model) -> None:
    then = asked(revision="A")
    factories.span(model, "B", "LK000200", "LK000299")
    for unit in model.units.filter(serial__gte="LK000200"):
        settle_unit(unit)
    assert [cell["units"] for cell in asked()["cells"]] == [6, 3]
    assert same_but_for_words(then, made_again(then, revision="A"))
    assert made_again(then, revision="B")["cells"] == []


def test_before_the_first_run_nothing_was_known(model) -> None:
    first = Run.objects.order_by("id").first()
    early = asked(as_of=first.created_at - timedelta(seconds=1))
    assert early["cells"] == []
    assert early["left_out"]["unknown_revision"] == {"runs": 0, "units": 0}


def test_a_time_without_a_zone_is_utc(model) -> None:
    then = asked()
    bare = datetime.fromisoformat(then["as_of"]).astimezone(UTC).replace(tzinfo=None)
    assert asked(as_of=bare)["as_of"] == then["as_of"]


def test_only_changes_of_state_and_build_are_kept(model) -> None:
    runs, units = RunWas.objects.count(), UnitWas.objects.count()
    run = Run.objects.first()
    run.note = "a word"
    run.save()
    assert (RunWas.objects.count(), UnitWas.objects.count()) == (runs, units)
    withdraw(run.pk, factories.operator("north"), "leak found")
    assert RunWas.objects.get(pgh_obj=run).state == "accepted"


@pytest.mark.parametrize(
    "where",
    [
        {},
        {"mode": "expression", "level": "3", "metric__in": ["peak_vacuum"], "programme__iexact": ""},
        {"power": "", "gauge__isnull": False},
        {"unit__serial__startswith": "LK0001"},
        {"unit__revision__isnull": True},
    ],
)
def test_a_table_of_summaries_can_be_made_again(model, where) -> None:
    filters = {"pump_model": model, "edition": 1, **where}
    keys = ["unit", "clinic", "gauge", "metric"]
    now = summary_frame(**filters).sort_values(keys, ignore_index=True)
    moment = timezone.now()
    recorded(model, "LK000001", "north", 222.0)
    again = summary_frame(moment, **filters).sort_values(keys, ignore_index=True)
    assert len(now) == (0 if "unit__revision__isnull" in where else 3 if "LK0001" in str(where) else 10)
    pd.testing.assert_frame_equal(now, again)


def test_a_table_goes_by_the_builds_of_its_time(model) -> None:
    a, b = model.revisions.order_by("order")
    moment = timezone.now()
    factories.span(model, "B", "LK000200", "LK000299")
    for unit in model.units.filter(serial__gte="LK000200"):
        settle_unit(unit)
    sizes = [
        len(summary_frame(when, edition=1, **where))
        for when in (moment, None)
        for where in ({"unit__revision": a}, {"unit__revision__in": [b.pk]})
    ]
    assert sizes == [10, 0, 7, 3]
    with pytest.raises(ValueError, match="no filter unit__revision__label"):
        summary_frame(moment, edition=1, unit__revision__label="A")


def test_firmware_is_compared_as_then(model) -> None:
    for tag, start, shift in (("1.1", 1000, 0.0), ("1.2", 2000, 30.0)):
        for k in range(6):
            run = recorded(model, f"LK{start + k:06}", CLINICS[k % 3], 200 + shift + k)
            Run.objects.filter(pk=run.pk).update(firmware=tag)
    sides = ("Lapwing One", "firmware:1.1", "firmware:1.2")
    then = answer_comparison(*sides)
    assert then["settings"][0]["difference"] == pytest.approx(30, abs=1)
    Run.objects.filter(firmware="1.2").update(state="held")
    with pytest.raises(Invalid, match="names the firmware"):
        answer_comparison(*sides)
    again = answer_comparison(*sides, as_of=datetime.fromisoformat(then["as_of"]))
    assert again["settings"] == then["settings"]
    assert again["says"].endswith("UTC).")

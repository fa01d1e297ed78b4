"""An unlisted revision: told from the summaries, listed from its alert, settled when it is confirmed."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from registry.alerts import drifting, unlisted
from registry.alerts.listing import list_revision
from registry.alerts.raising import record
from registry.alerts.readings import readings
from registry.alerts.scanned import Scan
from registry.alerts.verdicts import Standing
from registry.errors import Conflict, Invalid, NotFound
from registry.intake.enrol import enrol
from registry.intake.proposals import confirm, reject
from registry.models import Alert, PumpModel, Run, Unit, UnitSummary
from tests import factories

pytestmark = pytest.mark.django_db

CLINICS = ("north", "south", "east", "west")
LEVELS = ("1", "2", "3")


def measured(
    model: PumpModel, units: int = 16, before: int = 8, *, rate: float = 1.0, vacuum: float = 0.0, only=None
) -> list[Unit]:
    """Summaries of units in serial order, clinic after clinic; those after `before` are changed."""
    rng = np.random.default_rng(5)
    made, rows = [], []
    for place in range(units):
        code = CLINICS[place % len(CLINICS)]
        unit = factories.unit(model, f"LK{100 + 10 * place:06}", "A")
        changed = place >= before and (only is None or code in only)
        own = rng.normal(0, (0.02, 5.0))
        for n, level in enumerate(LEVELS):
            peak = 150 + 40 * n + own[1] + (vacuum if changed else 0.0) + rng.normal(0, 1)
            turn = (60 + 10 * n) * (1 + own[0]) * (rate if changed else 1.0)
            for metric, value in (("peak_vacuum", peak), ("mean_vacuum", 0.45 * peak), ("cycle_rate", turn)):
                rows.append(factories.unsaved_summary(unit, value, code, level=level, metric=metric))
        made.append(unit)
    UnitSummary.objects.bulk_create(rows)
    return made


def scan() -> Scan:
    seen = readings()
    return Scan(seen, seen.edition)


def judged(rule=unlisted):
    return rule.judge(scan())


@pytest.fixture
def model() -> PumpModel:
    return factories.pump_model()


@pytest.fixture
def alert(model) -> Alert:
    factories.span(model, "A", "LK000001", "LK009999")
    measured(model, rate=0.9)
    record(unlisted.RULE, judged())
    return Alert.objects.get()


@pytest.fixture
def curators():
    return [enrol("north", name, curator=True)[0] for name in ("sorrel", "tansy")]


def test_a_build_that_is_one_is_clear(model) -> None:
    measured(model)
    assert [(v.subject, v.standing) for v in judged()] == [("Lapwing One/A", Standing.CLEAR)]


def test_a_change_along_serials_names_the_first_changed_and_what_changed(model) -> None:
    units = measured(model, rate=0.9)
    (verdict,) = judged()
    assert verdict.standing is Standing.OFF
    told = verdict.evidence
    assert (told["along"], told["first_changed"]) == ("serial", units[8].serial)
    assert told["between"] == [units[7].serial, units[8].serial]
    assert told["place_low"] <= units[8].serial <= told["place_high"]
    rate = told["changes"]["cycle_rate"]
    assert rate["low"] < rate["change"] < rate["high"] < 0
    assert rate["unit"] == "cycles/min"
    assert rate["percent"] == pytest.approx(-10, abs=3)
    assert told["clinics"] == 4
    assert told["units_before"] == told["units_after"] == 8
    assert verdict.p is not None
    assert verdict.p < 0.001
    assert units[8].serial in verdict.says


def test_what_one_clinic_alone_sees_is_no_build(model) -> None:
    measured(model, 24, 12, rate=0.9, vacuum=-40.0, only=("north",))
    assert [v.standing for v in judged()] != [Standing.OFF]


def test_a_build_hidden_behind_benches_is_not_judged(model) -> None:
    units = measured(model, rate=0.9)
    for clinic in CLINICS:
        late = [unit.pk for unit in units[8:]]
        other = factories.gauge(clinic, "G2")
        UnitSummary.objects.filter(clinic__code=clinic, unit__in=late).update(gauge=other)
    (verdict,) = judged()
    assert verdict.standing is Standing.UNJUDGED
    assert "cannot be told from a bench" in verdict.lacks
    assert verdict.p is None


def test_few_units_are_not_judged(model) -> None:
    measured(model, 6, 3, rate=0.9)
    (verdict,) = judged()
    assert verdict.standing is Standing.UNJUDGED
    assert "8 units" in verdict.lacks


def test_vacuum_of_a_gauge_known_to_be_off_is_left_out(model) -> None:
    measured(model, vacuum=-30.0, before=8)
    seen = readings()
    off = [
        unlisted.Verdict("x", Standing.OFF, 0.1, 0.0, "", keys={"gauge": factories.gauge(code).pk})
        for code in CLINICS
    ]
    told = unlisted.judge(Scan(seen, seen.edition, {"gauge_off": off}))
    assert [v.standing for v in told] == [Standing.CLEAR]
    assert [v.standing for v in judged()] == [Standing.OFF]


def test_drift_with_date_is_told_and_a_step_is_not(model) -> None:
    rng = np.random.default_rng(7)
    start = datetime(2023, 1, 1, tzinfo=UTC)
    rows = []
    for place in range(32):
        code = CLINICS[place % len(CLINICS)]
        unit = factories.unit(model, f"LK{rng.permutation(9000)[0]:06}", "A")
        at = start + timedelta(days=25 * place)
        run = factories.run(unit, code)
        Run.objects.filter(pk=run.pk).update(recorded_at=at)
        factories.losses(run)
        own = rng.normal(0, 3.0) - 1.5 * place
        for n, level in enumerate(LEVELS):
            for metric, value in (
                ("peak_vacuum", 180 + 30 * n + own),
                ("mean_vacuum", 80 + 13 * n + 0.45 * own),
                ("cycle_rate", (60 + 9 * n) * float(np.exp(rng.normal(0, 0.02)))),
            ):
                rows.append(factories.unsaved_summary(unit, value, code, level=level, metric=metric))
    UnitSummary.objects.bulk_create(rows)
    (verdict,) = judged(drifting)
    assert verdict.standing is Standing.OFF
    a_year = verdict.evidence["a_year"]["peak_vacuum"]
    assert a_year["low"] < -1.5 * 365.25 / 25 < a_year["high"]
    assert "drifts with date" in verdict.says


def test_an_alert_becomes_a_proposal_with_spans_and_settles_when_confirmed(alert, model, curators) -> None:
    proposal = list_revision(alert.pk, curators[0], "A2", marks={"housing": "blue"})
    spans = {(s["revision"], s["first"], s["last"], s["basis"]) for s in proposal.change["spans"]}
    assert spans == {
        ("A", "LK000001", "LK000170", "declared"),
        ("A2", "LK000180", "LK000250", "observed"),
    }
    assert [(d["first"], d["last"]) for d in proposal.change["dropped_spans"]] == [("LK000001", "LK009999")]
    alert.refresh_from_db()
    assert (alert.state, alert.evidence["listed_by"]) == ("seen", {"proposal": proposal.pk, "revision": "A2"})
    with pytest.raises(Conflict):
        list_revision(alert.pk, curators[0], "C")
    Unit.objects.update(asserted=None)
    confirm(proposal.pk, curators[1])
    alert.refresh_from_db()
    assert alert.state == "settled"
    assert f"proposal {proposal.pk}" in alert.closed_why
    assert model.revisions.get(label="A2").marks == {"housing": "blue"}
    assert {u.revision.label for u in Unit.objects.filter(serial__gte="LK000180")} == {"A2"}
    assert {u.revision.label for u in Unit.objects.filter(serial__lt="LK000180")} == {"A"}


def test_a_rejected_proposal_leaves_the_alert_open_for_another(alert, curators) -> None:
    proposal = list_revision(alert.pk, curators[0], "A2")
    reject(proposal.pk, curators[1], "the marks are the same")
    assert list_revision(alert.pk, curators[0], "A3").pk != proposal.pk


def test_a_label_that_is_taken_and_an_alert_that_is_closed_are_refused(alert, curators) -> None:
    with pytest.raises(Invalid):
        list_revision(alert.pk, curators[0], "a")
    with pytest.raises(NotFound):
        list_revision(alert.pk + 1, curators[0], "B")
    Alert.objects.update(state="settled")
    with pytest.raises(Conflict):
        list_revision(alert.pk, curators[0], "B")


@pytest.mark.parametrize("units", [16, 40])
def test_queries_do_not_grow_with_units(model, units, django_assert_max_num_queries) -> None:
    measured(model, units, units // 2, rate=0.9)
    seen = scan()
    with django_assert_max_num_queries(6):
        unlisted.judge(seen)

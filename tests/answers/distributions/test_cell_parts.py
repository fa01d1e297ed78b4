"""Distributions from parts made ahead are those worked out from summaries, letter for letter."""

import json
import random
from typing import Any

import pytest
from django.utils import timezone

from registry.answers.distributions import answer as distributions
from registry.answers.distributions.answer import write_distributions
from registry.answers.distributions.cell_parts import CELLS
from registry.answers.keeping.parts import fresh_of
from registry.answers.keeping.written import text_of
from registry.answers.served import ahead as kept_ahead
from registry.answers.served.ahead import make_ahead
from registry.answers.served.kept import look
from registry.answers.served.questions import Question
from registry.models import BenchSession, Clinic, Edition, Finding, PumpModel, UnitSummary
from registry.waveform import editions
from tests import factories
from tests.editions import both

pytestmark = pytest.mark.django_db

CLINICS = ("north", "south", "east", "west")
METRICS = {"peak_vacuum": "mmHg", "cycle_rate": "cycles/min", "loss_rate": "per 100 cycles"}
BANDS = ("", "below 500 m", "above 1500 m")
PLACES = {
    "mode": ("expression", "stimulation"),
    "level": ("2", "10", "low"),
    "programme": ("", "Boost", "sömmer"),
    "power": ("mains", "battery", ""),
    "elevation": BANDS,
    "side": ("single", "left"),
}
ASKED: dict[str, tuple[Any, ...]] = {
    "revision": ("A", "b"),
    "mode": PLACES["mode"],
    "level": ("2", 10, "LOW", "9"),
    "metric": (*METRICS, "hold_time"),
    "rig": ("membrane", "24 mm", "cup / duckbill / soft / 24 mm / 0 mL", "none such"),
    "programme": ("", "bOOST", "SÖMMER"),
    "power": ("mains", "battery"),
    "elevation": ("low", "2000", "not said", "middle"),
}


@pytest.fixture(autouse=True)
def nothing_remembered_of_parts(monkeypatch):
    """Counts start again with each test; only parts of cells are made."""
    monkeypatch.setattr(kept_ahead, "_nothing_to_do_at", [])
    monkeypatch.setattr(kept_ahead, "KINDS", (CELLS,))


def place_of(chance: random.Random, spread: int) -> dict[str, str]:
    """A random place, one of more the larger `spread` is."""
    return {name: chance.choice(values[:spread]) for name, values in PLACES.items()}


def fill(chance: random.Random, model: PumpModel, spread: int) -> None:
    """Units of two builds and of none that is known, some of them wild, read by several clinics in places."""
    places = [place_of(chance, spread) for _ in range(3 * spread)]
    rigs = [factories.rig(), factories.rig("membrane")]
    found = []
    for number in range(15):
        unit = factories.unit(model, f"LK{number:06}", chance.choice(["A", "A", "B", None]))
        for code in chance.sample(CLINICS, chance.choice([1, 1, 2])):
            where, rig = chance.choice(places), chance.choice(rigs[: 1 + spread // 3])
            wild = 80 * (chance.random() < 0.07)
            for metric, measured_in in METRICS.items():
                value = 0.0 if metric == "loss_rate" else 200 + wild + chance.gauss(0, 5)
                found.append(
                    factories.unsaved_summary(
                        unit,
                        value,
                        code,
                        metric=metric,
                        metric_unit=measured_in,
                        rig=rig,
                        count=chance.randint(1, 4),
                        gauge_code=chance.choice(["G1", "G2", None]),
                        **where,
                    )
                )
        not_counted(chance, unit, places)
    UnitSummary.objects.bulk_create(found, ignore_conflicts=True)


def not_counted(chance: random.Random, unit: Any, places: list[dict[str, str]]) -> None:
    """At times a run that is held, for one reason or two, or withdrawn."""
    if chance.random() < 0.5:
        return
    where = chance.choice(places)
    run = factories.run(
        unit, state="held", mode=where["mode"], level=where["level"],
        elevation_m=chance.choice([None, 100.0, 2000.0]),
    )  # fmt: skip
    run.programme = where["programme"]
    for code in chance.sample(["clipped", "too_short", "paused"], chance.randint(1, 2)):
        Finding.objects.create(
            run=run, edition=factories.edition(), code=code, severity="hold", message="m", hint="h"
        )
    if chance.random() < 0.3:
        run.state, run.withdrawn_at, run.withdrawn_why = "withdrawn", factories.NOW, "leak"
    if chance.random() < 0.3:
        run.rig = factories.rig("another")
    run.save()


def narrowed(chance: random.Random) -> dict[str, Any]:
    """Random filters, few or many."""
    names = chance.sample(sorted(ASKED), chance.choice([0, 0, 1, 1, 2, 3, 4]))
    return {name: chance.choice(ASKED[name]) for name in names}


def text(model: str, asked: dict[str, Any]) -> bytes:
    """The document as it is sent, but for the time it was made at."""
    return text_of({**write_distributions(model, **asked), "as_of": None})


@pytest.mark.parametrize(("seed", "spread"), [(1, 1), (2, 2), (3, 3), (4, 3)])
def test_an_answer_from_parts_is_the_one_from_summaries(monkeypatch, seed, spread) -> None:
    chance = random.Random(seed)
    models = [factories.pump_model(name) for name in ("Lapwing One", "Lapwing Two", "Lapwing Three")]
    for model in models[:2]:
        fill(chance, model, spread)
    questions = [(chance.choice(models).name, narrowed(chance)) for _ in range(60)]
    questions += [(model.name, {}) for model in models]
    clinics = [None, *(factories.clinic(code) for code in (*CLINICS, "nowhere"))]
    asked = [(name, {**one, "clinic": chance.choice(clinics)}) for name, one in questions]
    from_summaries = [text(*one) for one in asked]
    assert make_ahead(calm_s=0) > len(models)
    worked_out = distributions.present
    anew: list[dict[str, Any]] = []
    monkeypatch.setattr(distributions, "present", lambda where: anew.append(one[1]) or worked_out(where))
    for one, expected in zip(asked, from_summaries, strict=True):
        assert text(*one) == expected, one
    # What asks for a programme beyond ASCII, or among such, is worked out anew, and nothing else.
    assert all("programme" in one for one in anew)
    assert len(anew) < len(asked) / 3


def test_one_cell_takes_few_queries_and_the_whole_model_no_more(django_assert_num_queries) -> None:
    fill(random.Random(5), factories.pump_model(), 3)
    make_ahead(calm_s=0)
    for asked in ({"metric": "peak_vacuum", "level": "2", "revision": "A"}, {}):
        ground = look(Question("distributions", {"model": "Lapwing One"})).ground
        with django_assert_num_queries(1):
            write_distributions("Lapwing One", **asked, ground=ground)


def test_what_changed_since_is_worked_out() -> None:
    model = factories.pump_model()
    fill(random.Random(6), model, 2)
    make_ahead(calm_s=0)
    assert (model.pk, "peak_vacuum") in fresh_of(CELLS, 1, None)
    before = text("Lapwing One", {"metric": "peak_vacuum"})
    UnitSummary.objects.update(mean=100.0)
    assert text("Lapwing One", {"metric": "peak_vacuum"}) != before
    make_ahead(calm_s=0)
    cells = json.loads(text("Lapwing One", {"metric": "peak_vacuum"}))["cells"]
    assert {cell["centre"] for cell in cells} == {100.0}


def test_a_sitting_that_is_changed_afterwards_parts_what_does_not_count_anew() -> None:
    model = factories.pump_model()
    fill(random.Random(6), model, 2)
    factories.run(factories.unit(model, "LK000001"), state="held", elevation_m=100.0)
    make_ahead(calm_s=0)
    asked = {"elevation": "low"}
    before = json.loads(text("Lapwing One", asked))["left_out"]["held"]
    assert before > 0
    BenchSession.objects.filter(elevation_m=100.0).update(elevation_m=1000.0)
    assert json.loads(text("Lapwing One", asked))["left_out"]["held"] == 0


def test_names_are_those_of_now() -> None:
    model = factories.pump_model()
    fill(random.Random(7), model, 1)
    make_ahead(calm_s=0)
    mine = factories.clinic("north")
    own = [one for cell in cells_of(mine, level="2") for one in cell["influence"] if one["own"]]
    assert {one["clinic"] for one in own} == {"north"}
    Clinic.objects.filter(pk=mine.pk).update(code="north-west")
    mine.refresh_from_db()
    own = [one for cell in cells_of(mine, level="2") for one in cell["influence"] if one["own"]]
    assert {one["clinic"] for one in own} == {"north-west"}
    model.revisions.filter(label="A").update(label="A2")
    assert {cell["revision"] for cell in cells_of(mine)} == {"A2", "B", None}


def cells_of(clinic: Clinic, **asked: Any) -> list[dict[str, Any]]:
    """The cells as that clinic sees them."""
    found: list[dict[str, Any]] = json.loads(text("Lapwing One", {"clinic": clinic, **asked}))["cells"]
    return found


def test_past_times_and_other_editions_are_not_answered_from_parts_of_now(monkeypatch) -> None:
    model = factories.pump_model()
    fill(random.Random(8), model, 1)
    monkeypatch.setattr(editions, "EDITIONS", both())
    Edition.objects.create(number=2, is_current=False)
    make_ahead(calm_s=0)
    assert json.loads(text("Lapwing One", {"edition": 2}))["cells"] == []
    then = timezone.now()
    assert json.loads(text("Lapwing One", {"as_of": then}))["cells"] == []  # no measurements are stored
    assert json.loads(text("Lapwing One", {}))["cells"]

"""What answers ask first comes with the look-up, and answers are the same without it."""

import json
import re

import pytest

from registry.answers import ground
from registry.answers.ground import NO_GROUND
from registry.answers.keeping.written import text_of
from registry.answers.served import ahead as kept_ahead
from registry.answers.served.ahead import make_ahead
from registry.answers.served.kept import look
from registry.answers.served.questions import Question
from registry.errors import Invalid, UnknownPumpModel
from registry.intake.receive import receive
from registry.models.watched import WATCHED
from tests import community
from tests.answers.asking import NEEDS, but_for_when
from tests.declared import MODEL, provenance
from tests.traces import trace_bytes

ASKED = [
    ("comparisons", {"model": MODEL, "old": "A", "new": "B"}),
    ("comparisons", {"model": MODEL, "old": "revision: b", "new": "A", "metric": "all"}),
    ("settings-matches", {"model": MODEL, "needs": NEEDS}),
    ("settings-matches", {"model": MODEL, "like": "A:expression:3", "needs": {}}),
    ("distributions", {"model": MODEL, "metric": "cycle_rate"}),
]


@pytest.fixture
def stored(db):
    """A model with a run of either build."""
    community.catalogue()
    for seed, serial in enumerate(("LK000123", "LK005001")):
        receive(trace_bytes(seed=seed), provenance(serial=serial), community.operator())


@pytest.fixture
def made(stored, monkeypatch):
    """All parts are made."""
    monkeypatch.setattr(kept_ahead, "_nothing_to_do_at", [])
    make_ahead(calm_s=0)


def test_a_look_brings_the_edition_and_the_model_with_its_revisions(
    stored, django_assert_num_queries
) -> None:
    name = MODEL.upper().replace(" ", "   ")
    with django_assert_num_queries(1):
        found = look(Question("claims", {"model": name})).ground
        model = found.pump_model(f" {name}")
        assert (model.name, found.chosen_edition(None), found.chosen_edition(1)) == (MODEL, 1, 1)
        assert [one.label for one in model.revisions.all()] == ["A", "B"]
    assert [one.label for one in model.revisions.filter(label="B")] == ["B"]
    assert model.maker.name


def test_what_a_look_does_not_bring_is_refused_as_ever(stored) -> None:
    found = look(Question("claims", {"model": "Larkspur Tow"})).ground
    with pytest.raises(UnknownPumpModel) as refused:
        found.pump_model("Larkspur Tow")
    assert refused.value.extra["nearest"] == [MODEL]
    with pytest.raises(Invalid, match="There is no edition 7"):
        found.chosen_edition(7)


@pytest.mark.parametrize(("kind", "asked"), ASKED)
def test_an_answer_from_a_part_takes_two_statements(made, django_assert_num_queries, kind, asked) -> None:
    question = Question(kind, asked)
    with django_assert_num_queries(2):
        found = question.answer(look(question).ground)
    assert found.get("settings") or found["cells"]
    without = question.answer(NO_GROUND)
    assert but_for_when(json.loads(text_of(found))) == but_for_when(json.loads(text_of(without)))


def test_changes_of_all_that_a_look_reads_are_counted() -> None:
    read = set(re.findall(r"registry_\w+", ground.COLUMN))
    assert read
    assert read <= WATCHED

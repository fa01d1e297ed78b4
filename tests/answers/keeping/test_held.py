"""What a process holds of parts: read once, good as the database says, and bounded."""

import json

import pytest
from django.db import transaction

from registry.answers.keeping.held import Held
from registry.answers.keeping.parts import PartKind, made
from registry.models import KeptPart, PumpModel
from tests import community

KEYS = ("one", "other")


@pytest.fixture
def said():
    """What parts say when they are made next, by key."""
    return dict.fromkeys(KEYS, "first")


@pytest.fixture
def kind(said):
    return PartKind("said", lambda model, edition, key: json.dumps(said[key]).encode(), lambda *_: KEYS)


@pytest.fixture
def model(db):
    community.catalogue()
    return PumpModel.objects.get().pk


@pytest.fixture
def bodies():
    """The bodies that were read."""
    return []


@pytest.fixture
def held(kind, bodies):
    def read(body):
        bodies.append(body)
        return json.loads(body)

    return Held(kind, read, 1 << 10)


def test_a_part_is_read_once_however_often_it_is_asked_for(held, kind, model, bodies):
    made(kind, 1, model, "one")
    for _ in range(3):
        assert held.fresh_of(1, KEYS, model) == {"one": "first"}
    assert bodies == [b'"first"']


def test_a_part_that_was_made_again_is_read_again(held, kind, model, said, bodies):
    """Even where no change was counted between them, and all of it is one transaction."""
    for text in ("first", "second", "first"):
        said["one"] = text
        made(kind, 1, model, "one")
        assert held.fresh_of(1, KEYS, model) == {"one": text}
    assert len(bodies) == 3


def test_what_was_taken_back_is_not_served(held, kind, model, said):
    made(kind, 1, model, "one")
    said["one"] = "never"
    sid = transaction.savepoint()
    made(kind, 1, model, "one")
    assert held.fresh_of(1, KEYS, model) == {"one": "never"}
    transaction.savepoint_rollback(sid)
    assert held.fresh_of(1, KEYS, model) == {"one": "first"}


def test_what_is_out_of_date_or_dropped_is_not_served(held, kind, model):
    for key in KEYS:
        made(kind, 1, model, key)
    assert set(held.fresh_of(1, KEYS, model)) == set(KEYS)
    KeptPart.objects.filter(key="one").delete()
    assert set(held.fresh_of(1, KEYS, model)) == {"other"}
    PumpModel.objects.update(name="Another name")
    assert held.fresh_of(1, KEYS, model) == {}


def test_what_was_asked_for_the_longest_ago_goes_first(held, kind, model, bodies):
    held.most = len(b'"first"')
    for key in (*KEYS, *KEYS):
        made(kind, 1, model, key)
        assert held.fresh_of(1, [key], model) == {key: "first"}
    assert len(bodies) == 4
    held.fresh_of(1, ["other"], model)
    assert len(bodies) == 4
    held.most = 0
    assert held.fresh_of(1, ["one"], model) == {"one": "first"}

"""Parts of answers: good as long as nothing they rest on changed, made ahead, and bounded."""

import json
import threading
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from types import SimpleNamespace

import pytest
from django.db import connection

from registry.answers.keeping import bounds as kept_bounds
from registry.answers.keeping import parts as kept_parts
from registry.answers.keeping import watching as kept_watch
from registry.answers.keeping.parts import PartKind, fresh, fresh_of, made
from registry.answers.served import ahead as kept_ahead
from registry.answers.served.ahead import make_ahead
from registry.intake.receive import receive
from registry.models import BenchSession, ChangeCount, KeptPart, PumpModel, Rig, UnitSummary
from tests import community, factories
from tests.answers.served.test_kept import elsewhere, shift
from tests.declared import provenance
from tests.traces import trace_bytes


def means(model: int, edition: int, key: str) -> bytes:
    """The means of one metric as they are stored."""
    found = UnitSummary.objects.filter(pump_model=model, edition=edition, metric=key).order_by("id")
    return json.dumps(list(found.values_list("mean", flat=True))).encode()


KEYS = ("peak_vacuum", "cycle_rate")
MEANS = PartKind("means", means, lambda model, edition: KEYS)
WHERE = PartKind("means-where", means, lambda model, edition: KEYS, sittings=True)


@pytest.fixture(autouse=True)
def kinds(monkeypatch):
    """These kinds alone are made ahead, and nothing is remembered of the test before."""
    monkeypatch.setattr(kept_ahead, "KINDS", (MEANS,))
    monkeypatch.setattr(kept_ahead, "_nothing_to_do_at", [])


@pytest.fixture
def model(db):
    """The key of a model with one run."""
    community.catalogue()
    receive(trace_bytes(), provenance(), community.operator())
    return PumpModel.objects.get().pk


@pytest.fixture
def committed(transactional_db):
    """The same, on a database that really commits."""
    factories.edition()
    community.catalogue()
    receive(trace_bytes(), provenance(), community.operator())
    return PumpModel.objects.get().pk


def test_a_part_is_found_until_its_model_changes(model, django_assert_num_queries):
    body = made(MEANS, 1, model, "peak_vacuum")
    with django_assert_num_queries(1):
        assert fresh(MEANS, 1, "peak_vacuum") == {model: body}
    assert fresh(MEANS, 1, "peak_vacuum", [model]) == {model: body}
    assert fresh(MEANS, 1, "peak_vacuum", [model + 1]) == fresh(MEANS, 1, "peak_vacuum", []) == {}
    assert fresh(MEANS, 2, "peak_vacuum") == fresh(WHERE, 1, "peak_vacuum") == {}
    shift(5.0)
    assert fresh(MEANS, 1, "peak_vacuum") == {}
    assert json.loads(made(MEANS, 1, model, "peak_vacuum")) == [5.0]


def test_what_shows_everywhere_makes_every_part_old(model):
    made(MEANS, 1, model, "peak_vacuum")
    Rig.objects.update(tubing="another")
    assert fresh(MEANS, 1, "peak_vacuum") == {}


def test_sittings_count_for_the_parts_that_rest_on_them(model):
    for kind in (MEANS, WHERE):
        made(kind, 1, model, "peak_vacuum")
    BenchSession.objects.create(
        clinic=community.operator().clinic, operator=community.operator(), elevation_m=2000
    )
    made(MEANS, 1, model, "cycle_rate")
    assert set(fresh_of(MEANS, 1, KEYS)) == {(model, key) for key in KEYS}
    assert fresh_of(WHERE, 1, KEYS) == {}


def test_a_change_of_another_model_leaves_a_part_good(model):
    made(MEANS, 1, model, "peak_vacuum")
    PumpModel.objects.create(name="Another pump", maker=PumpModel.objects.get().maker)
    assert set(fresh(MEANS, 1, "peak_vacuum")) == {model}


def test_what_changes_while_a_part_is_made_makes_no_lasting_part(committed):
    def slowly(model, edition, key):
        body = means(model, edition, key)
        elsewhere(lambda: shift(6.0))
        return body

    slow = PartKind("means", slowly, MEANS.keys)
    made(slow, 1, committed, "peak_vacuum")
    assert not KeptPart.objects.exists()


def test_parts_of_another_program_are_not_served_and_go_after_a_day(model, monkeypatch):
    made(MEANS, 1, model, "peak_vacuum")
    monkeypatch.setattr(kept_parts, "code_mark", lambda: "another")
    monkeypatch.setattr(kept_bounds, "code_mark", lambda: "another")
    assert fresh(MEANS, 1, "peak_vacuum") == {}
    assert kept_bounds.drop_parts() == 0
    age("25 hours")
    assert kept_bounds.drop_parts() == 1


def age(by):
    """What is kept was made so long ago."""
    with connection.cursor() as cursor:
        cursor.execute("UPDATE registry_keptpart SET made_at = now() - %s::interval", [by])


def test_programs_that_run_side_by_side_let_each_others_parts_be_for_an_hour(model, monkeypatch):
    make_ahead(calm_s=0)
    monkeypatch.setattr(kept_bounds, "MOST_BYTES_OF_PARTS", 0)
    with monkeypatch.context() as another:
        another.setattr(kept_bounds, "code_mark", lambda: "another")
        assert kept_bounds.drop_parts() == 0
        age("2 hours")
        assert kept_bounds.drop_parts() == 2
        age("25 hours")
        assert kept_bounds.drop_parts() == 1  # the note that all was made
    assert not KeptPart.objects.exists()


def test_what_reads_an_unwatched_table_is_no_part(model, monkeypatch, caplog):
    monkeypatch.setattr(kept_watch, "WATCHED", kept_watch.WATCHED - {"registry_unitsummary"})
    made(MEANS, 1, model, "peak_vacuum")
    assert fresh(MEANS, 1, "peak_vacuum") == {}
    assert "nobody counts changes of registry_unitsummary" in caplog.text


def test_a_large_part_is_not_kept(model, monkeypatch):
    made(MEANS, 1, model, "peak_vacuum")
    monkeypatch.setattr(kept_parts, "MOST_BYTES_A_PART", 3)
    made(MEANS, 1, model, "peak_vacuum")
    assert fresh(MEANS, 1, "peak_vacuum") == {}


def test_what_was_quickest_to_make_for_its_size_goes_first(model, monkeypatch):
    monkeypatch.setattr(kept_bounds, "_parts_kept", [-30])
    place = kept_parts.Place(MEANS, 1, model)
    for key, spent_s in (("quick", 0.1), ("slow", 9.0), ("middling", 1.0)):
        place.keep({key: b"0123456789"}, place.changes(), spent_s)
    monkeypatch.setattr(kept_bounds, "MOST_BYTES_OF_PARTS", 25)
    monkeypatch.setattr(kept_bounds, "_EVERY_BYTES", 25)
    kept_bounds.bound_parts(20)
    assert len(place.good()) == 3
    kept_bounds.bound_parts(20)
    assert place.good() == {"slow", "middling"}
    monkeypatch.setattr(kept_bounds, "MOST_BYTES_OF_PARTS", 10)
    assert kept_bounds.drop_parts() == 1
    assert place.good() == {"slow"}


def test_all_parts_are_made_ahead_once_it_is_calm(model, django_assert_num_queries):
    assert make_ahead() == 0  # it may go on changing
    assert make_ahead(calm_s=0) == 2
    assert set(fresh_of(MEANS, 1, KEYS)) == {(model, key) for key in KEYS}
    assert make_ahead(calm_s=0) == 0
    with django_assert_num_queries(4):  # the lock and back, and that nothing changed
        assert make_ahead(calm_s=0) == 0
    shift(5.0)
    assert make_ahead(calm_s=0) == 2
    assert json.loads(fresh(MEANS, 1, "cycle_rate")[model]) == [5.0]


def test_after_a_crash_that_emptied_the_table_parts_are_made_again(model):
    assert make_ahead(calm_s=0) == 2
    assert make_ahead(calm_s=0) == 0
    KeptPart.objects.all().delete()
    assert make_ahead(calm_s=0) == 2


def test_what_was_dropped_for_room_is_not_made_again_before_a_change(model, monkeypatch):
    make_ahead(calm_s=0)
    with monkeypatch.context() as small:
        small.setattr(kept_bounds, "MOST_BYTES_OF_PARTS", 0)
        assert kept_bounds.drop_parts() == 2
    assert make_ahead(calm_s=0) == 0
    shift(5.0)
    assert make_ahead(calm_s=0) == 2


def test_a_worker_that_ends_in_between_leaves_the_rest_for_the_next(model, monkeypatch):
    def killed(model, edition, key):
        if key == "cycle_rate":
            raise KeyboardInterrupt
        return means(model, edition, key)

    monkeypatch.setattr(kept_ahead, "KINDS", (PartKind("means", killed, MEANS.keys),))
    with pytest.raises(KeyboardInterrupt):
        make_ahead(calm_s=0)
    monkeypatch.setattr(kept_ahead, "KINDS", (MEANS,))
    assert make_ahead(calm_s=0) == 1
    assert len(fresh_of(MEANS, 1, KEYS)) == 2


def test_making_ahead_takes_bounded_time(model):
    assert make_ahead(budget_s=-1.0, calm_s=0) == 0
    assert make_ahead(budget_s=60.0, calm_s=0) == 2


def test_what_fails_is_said_when_all_else_is_made_and_not_tried_again_before_a_change(model, monkeypatch):
    broken = PartKind("broken", lambda model, edition, key: bytes(1 // 0), MEANS.keys)
    monkeypatch.setattr(kept_ahead, "KINDS", (broken, MEANS))
    with pytest.raises(ZeroDivisionError):
        make_ahead(calm_s=0)
    assert len(fresh_of(MEANS, 1, KEYS)) == 2
    assert make_ahead(calm_s=0) == 0
    shift(5.0)
    with pytest.raises(ZeroDivisionError):
        make_ahead(calm_s=0)


@pytest.mark.parametrize("made_of", [lambda: bytes(1 // 0), lambda: b"too large"], ids=["fails", "large"])
def test_what_cannot_be_kept_and_takes_long_holds_nothing_up(model, monkeypatch, made_of):
    clock = [0.0]

    def slowly(model, edition, key):
        clock[0] += 10.0
        return made_of() if key == "peak_vacuum" else b"small"

    monkeypatch.setattr(kept_ahead, "time", SimpleNamespace(monotonic=lambda: clock[0]))
    monkeypatch.setattr(kept_parts, "MOST_BYTES_A_PART", 8)
    slow = PartKind("slow", slowly, MEANS.keys)
    monkeypatch.setattr(kept_ahead, "KINDS", (slow,))
    for _ in range(3):
        with suppress(ZeroDivisionError):
            make_ahead(budget_s=5.0, calm_s=0)
    assert fresh_of(slow, 1, KEYS) == {(model, "cycle_rate"): b"small"}
    assert clock == [20.0]


def test_of_two_workers_one_makes_parts(committed, monkeypatch):
    making, may_end = threading.Event(), threading.Event()

    def slowly(model, edition, key):
        making.set()
        assert may_end.wait(20)
        return means(model, edition, key)

    monkeypatch.setattr(kept_ahead, "KINDS", (PartKind("means", slowly, MEANS.keys),))

    def work():
        done = make_ahead(calm_s=0)
        connection.close()
        return done

    with ThreadPoolExecutor(1) as pool:
        first = pool.submit(work)
        assert making.wait(20)
        assert make_ahead(calm_s=0) == 0
        may_end.set()
        assert first.result() == 2
    assert len(fresh_of(MEANS, 1, KEYS)) == 2


def test_two_that_make_one_part_at_once_leave_the_same(committed):
    def work():
        for _ in range(20):
            made(MEANS, 1, committed, "peak_vacuum")
        connection.close()

    with ThreadPoolExecutor(2) as pool:
        for one in [pool.submit(work) for _ in range(2)]:
            one.result()
    assert fresh(MEANS, 1, "peak_vacuum") == {committed: means(committed, 1, "peak_vacuum")}


def test_folding_counts_leaves_parts_good(committed):
    made(MEANS, 1, committed, "peak_vacuum")
    ChangeCount.objects.update(changed_at="2026-01-01T00:00:00Z")
    kept_bounds.fold()
    assert set(fresh(MEANS, 1, "peak_vacuum")) == {committed}


def test_a_model_of_which_nothing_was_measured_has_parts_of_every_kind(db, monkeypatch):
    monkeypatch.undo()
    monkeypatch.setattr(kept_ahead, "_nothing_to_do_at", [])
    community.catalogue()
    assert make_ahead(calm_s=0) > 0
    assert make_ahead(calm_s=0) == 0

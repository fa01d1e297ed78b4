"""Kept answers while others write, their bounds, and how they are made again."""

import itertools
import json
import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from django.db import connection, transaction
from django.db.models import Sum

from registry.answers.keeping import bounds as kept_bounds
from registry.answers.keeping import program as kept_code
from registry.answers.keeping import watching as kept_watch
from registry.answers.served import again as kept_again
from registry.answers.served import kept
from registry.answers.served import questions as kept_questions
from registry.answers.served.again import make_again
from registry.answers.served.kept import kept_answer
from registry.answers.served.questions import Question
from registry.intake.receive import receive
from registry.intake.withdraw import withdraw
from registry.models import ChangeCount, KeptAnswer, PumpModel, Revision, UnitSummary
from registry.models.kept import EVERYTHING, SITTINGS
from tests import community, factories
from tests.answers.asking import anew, but_for_when
from tests.declared import MODEL, provenance
from tests.traces import trace_bytes

WHOLE = ("distributions", {"model": MODEL})


def told(kind: str = "distributions", **asked: str) -> dict[str, Any]:
    """The answer as people get it."""
    document: dict[str, Any] = json.loads(kept_answer(kind, {"model": MODEL, **asked}).text())
    return document


def shift(mean: float) -> None:
    """Change what all answers of the model rest on."""
    UnitSummary.objects.update(mean=mean)


def asked_before(interval: str) -> None:
    """Let all that is kept have been asked for so long ago."""
    with connection.cursor() as cursor:
        cursor.execute("UPDATE registry_keptanswer SET asked_at = now() - %s::interval", [interval])


def elsewhere(work: Callable[[], Any]) -> Any:
    """Do it in another thread, on a connection of its own that commits."""

    def done() -> Any:
        try:
            return work()
        finally:
            connection.close()

    with ThreadPoolExecutor(1) as pool:
        return pool.submit(done).result()


@pytest.fixture(autouse=True)
def nothing_looked_for(monkeypatch):
    """Counts start again with each test; what a process remembers of them does too."""
    monkeypatch.setattr(kept_again, "_nothing_to_do_at", [])


@pytest.fixture
def stored(db):
    """A model with one run."""
    community.catalogue()
    receive(trace_bytes(), provenance(), community.operator())


@pytest.fixture
def committed(transactional_db):
    """The same, on a database that really commits; the operator."""
    factories.edition()
    community.catalogue()
    operator = community.operator()
    receive(trace_bytes(), provenance(), operator)
    return operator


def test_what_is_written_while_an_answer_is_worked_out_is_in_the_next(committed, monkeypatch):
    answer = Question.answer

    def slowly(self, ground):
        document = answer(self, ground)
        elsewhere(lambda: shift(5.0))
        return document

    monkeypatch.setattr(Question, "answer", slowly)
    before = told()
    monkeypatch.undo()
    assert not KeptAnswer.objects.exists()
    after = told()
    assert but_for_when(before) != but_for_when(after)
    assert but_for_when(after) == but_for_when(anew(*WHOLE))
    assert told() == after


def test_what_is_written_after_the_count_was_read_makes_no_lasting_answer(committed, monkeypatch):
    look = kept.look

    def early(question):
        found = look(question)
        elsewhere(lambda: shift(6.0))
        return found

    monkeypatch.setattr(kept, "look", early)
    told()
    assert not KeptAnswer.objects.exists()


def test_an_uncommitted_change_is_nobody_elses(committed):
    before = told()
    may_end, changed = threading.Event(), threading.Event()

    def write():
        with transaction.atomic():
            shift(7.0)
            changed.set()
            assert may_end.wait(20)
        connection.close()

    with ThreadPoolExecutor(1) as pool:
        writing = pool.submit(write)
        assert changed.wait(20)
        assert told() == before
        may_end.set()
        writing.result()
    assert told()["as_of"] != before["as_of"]
    assert but_for_when(told()) == but_for_when(anew(*WHOLE))


def test_readers_and_writers_at_once_end_with_the_answer_of_now(committed):
    seeds, stop = itertools.count(10), threading.Event()

    def write():
        for _ in range(5):
            run = receive(trace_bytes(seed=next(seeds)), provenance(), committed).run
            told()
            withdraw(run.pk, committed, "rig leaked")
        connection.close()

    def read():
        runs = set()
        while not stop.is_set():
            runs.add(told()["cells"][0]["runs"])
        connection.close()
        return runs

    with ThreadPoolExecutor(5) as pool:
        reading = [pool.submit(read) for _ in range(2)]
        for writing in [pool.submit(write) for _ in range(3)]:
            writing.result()
        stop.set()
        assert set().union(*(found.result() for found in reading)) <= {1, 2, 3, 4}
    assert but_for_when(told()) == but_for_when(anew(*WHOLE))


def test_two_that_write_one_model_do_not_wait_for_each_others_counts(committed):
    model = PumpModel.objects.get()
    with transaction.atomic():
        model.claims.update(value=1.0)
        elsewhere(lambda: Revision.objects.filter(label="B").update(firmware=["2.0"]))
        assert ChangeCount.objects.filter(scope=model.pk).values("backend").distinct().count() >= 2


def test_an_answer_of_another_program_is_not_served(stored, monkeypatch):
    first = told()
    monkeypatch.setattr(kept_questions, "code_mark", lambda: "other")
    assert told()["as_of"] != first["as_of"]


def test_the_mark_of_the_code_goes_with_the_key(settings):
    kept_code.code_mark.cache_clear()
    before = kept_code.code_mark()
    settings.SECRET_KEY = "another"
    kept_code.code_mark.cache_clear()
    assert kept_code.code_mark() != before
    kept_code.code_mark.cache_clear()


def test_what_reads_an_unwatched_table_is_not_kept(stored, monkeypatch, caplog):
    monkeypatch.setattr(kept_watch, "WATCHED", kept_watch.WATCHED - {"registry_rig"})
    told()
    assert not KeptAnswer.objects.exists()
    assert "nobody counts changes of registry_rig" in caplog.text


def test_a_large_answer_is_not_kept(stored, monkeypatch):
    monkeypatch.setattr(kept, "MOST_BYTES", 100)
    told()
    assert not KeptAnswer.objects.exists()


def test_the_oldest_asked_go_first(stored, monkeypatch):
    for metric in ("peak_vacuum", "mean_vacuum"):
        told(metric=metric)
    asked_before("2 hours")
    for metric in ("cycle_rate", "mean_vacuum"):
        told(metric=metric)
    monkeypatch.setattr(kept_bounds, "MOST", 2)
    assert kept_bounds.drop() == 1
    left = [
        json.loads(written)[1]["metric"] for written in KeptAnswer.objects.values_list("question", flat=True)
    ]
    assert sorted(left) == ["cycle_rate", "mean_vacuum"]
    monkeypatch.setattr(kept_bounds, "MOST_BYTES_TOGETHER", 10)
    assert kept_bounds.drop() == 2


def test_a_process_that_keeps_many_bounds_them_itself(stored, monkeypatch):
    monkeypatch.setattr(kept_bounds, "MOST", 1)
    monkeypatch.setattr(kept_bounds, "_EVERY", 3)
    for metric in ("cycle_rate", "peak_vacuum", "mean_vacuum", "hold_time", "pull_time", "duty_factor"):
        told(metric=metric)
    assert KeptAnswer.objects.count() <= 3


def test_asking_again_writes_at_most_once_an_hour(stored, django_assert_num_queries):
    told()
    asked_before("61 minutes")
    with django_assert_num_queries(2):
        told()
    with django_assert_num_queries(1):
        told()


def test_folding_leaves_the_sums_and_the_answers(committed):
    first = told()
    elsewhere(lambda: PumpModel.objects.get().claims.update(value=1.0))
    second = told("claims")
    sums = dict(ChangeCount.objects.values_list("scope").annotate(Sum("n")))
    ChangeCount.objects.update(changed_at="2026-01-01T00:00:00Z")
    kept_bounds.fold()
    assert set(ChangeCount.objects.values_list("backend", flat=True)) == {0}
    assert dict(ChangeCount.objects.values_list("scope").annotate(Sum("n"))) == sums
    assert set(sums) <= {EVERYTHING, SITTINGS, PumpModel.objects.get().pk}
    assert told("claims") == second
    shift(3.0)
    kept_bounds.fold()
    assert told()["as_of"] != first["as_of"]


def test_what_was_asked_lately_is_made_again_after_a_calm(stored, django_assert_num_queries):
    first = told()
    shift(9.0)
    assert make_again() == 0  # it may go on changing
    assert make_again(calm_s=0) == 1
    with django_assert_num_queries(1):
        second = told()
    assert second["as_of"] != first["as_of"]
    assert but_for_when(second) == but_for_when(anew(*WHOLE))
    assert make_again(calm_s=0) == 0
    with django_assert_num_queries(1):  # nothing changed anywhere: not even looked for
        assert make_again(calm_s=0) == 0


def test_what_changes_on_and_on_is_made_again_once_a_minute(stored):
    told()
    shift(9.0)
    with connection.cursor() as cursor:
        cursor.execute("UPDATE registry_keptanswer SET made_at = now() - interval '61 seconds'")
    assert make_again(calm_s=1000) == 1


def test_what_nobody_asked_for_lately_is_not_made_again(stored):
    told()
    shift(9.0)
    asked_before("8 days")
    assert make_again(calm_s=0) == 0


def test_making_again_takes_bounded_time(stored, monkeypatch):
    for metric in ("cycle_rate", "hold_time"):
        told(metric=metric)
    shift(9.0)
    with monkeypatch.context() as short:
        short.setattr(kept_again, "_BUDGET_S", -1.0)
        assert make_again(calm_s=0) == 0
    assert make_again(calm_s=0) == 2


def test_a_question_without_an_answer_any_more_is_forgotten(stored):
    told("comparisons", old="A", new="B")
    Revision.objects.filter(label="B").update(label="C")
    assert make_again(calm_s=0) == 0
    assert not KeptAnswer.objects.exists()


def test_a_question_that_fails_is_forgotten_and_said(stored, monkeypatch):
    told()
    shift(9.0)
    monkeypatch.setattr(Question, "answer", lambda self, ground: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        make_again(calm_s=0)
    assert not KeptAnswer.objects.exists()


def test_the_pump_of_an_old_setting_comes_with_the_look_where_every_pump_is_asked_about(stored):
    asked = {"like": "A:expression:5", "like_model": f" {MODEL.lower()}  "}
    looked = kept.look(Question.of("settings-matches", asked, None))
    assert looked.state is not None
    assert looked.state.scopes is None
    assert [model.name for model in looked.ground.models.values()] == [MODEL]
    assert kept.look(Question.of("settings-matches", {"rate": "70.."}, None)).ground.models == {}

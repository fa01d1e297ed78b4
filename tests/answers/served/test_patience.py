"""What takes long to make ahead is made where it was calm for long: little of a processor goes into it."""

from collections.abc import Callable
from types import SimpleNamespace

import pytest
from django.db import connection

from registry.answers.keeping import parts as kept_parts
from registry.answers.keeping.parts import PartKind, fresh_of
from registry.answers.served import ahead as kept_ahead
from registry.answers.served.ahead import make_ahead
from registry.models import BenchSession, KeptPart, PumpModel
from registry.models.kept import SITTINGS
from tests import factories

pytestmark = pytest.mark.django_db

KEYS = ("a", "b", "c", "d", "e")
SPENT_S = 2.0  # on each key


@pytest.fixture
def clock(monkeypatch) -> list[float]:
    """The time that parts are timed by, in place of that of the machine."""
    now = [0.0]
    for module in (kept_parts, kept_ahead):
        monkeypatch.setattr(module, "time", SimpleNamespace(monotonic=lambda: now[0]))
    return now


@pytest.fixture
def kind(clock, monkeypatch) -> PartKind:
    """A kind alone made ahead, two keys at once, that takes two seconds each."""

    def make_several(model, edition, keys):
        for key in keys:
            clock[0] += SPENT_S
            yield f"{model} {key}".encode()

    def make(model, edition, key):
        return next(make_several(model, edition, [key]))

    found = PartKind(
        "slow", make, lambda *_: KEYS, sittings=True, make_several=make_several, at_once=2, patience=10.0
    )
    monkeypatch.setattr(kept_ahead, "KINDS", (found,))
    monkeypatch.setattr(kept_ahead, "_nothing_to_do_at", [])
    return found


@pytest.fixture
def models() -> list[PumpModel]:
    """Two of them, with nothing measured."""
    return [factories.pump_model("One", pattern=None), factories.pump_model("Another", pattern=None)]


def long_ago(seconds: float, scope: int | None = None) -> None:
    """Let what changed have changed so long before; of one scope if it is named, and all else an hour ago."""
    with connection.cursor() as cursor:
        cursor.execute(
            "UPDATE registry_changecount SET changed_at = now() - interval '1 second'"
            " * CASE WHEN scope = coalesce(%s, scope) THEN %s ELSE 3600 END",
            [scope, seconds],
        )


def changed(model: PumpModel) -> None:
    """Let something of a model have changed just now."""
    PumpModel.objects.filter(pk=model.pk).update(name=f"{model.name} again")
    model.refresh_from_db()


def quick(kind: PartKind, clock: list[float], took_s: float) -> PartKind:
    """A kind of the same keys that nobody waits for."""

    def make(model, edition, key):
        clock[0] += took_s
        return b"quick"

    return PartKind("quick", make, kind.keys)


def test_several_are_made_at_once(kind, models, django_assert_max_num_queries) -> None:
    with django_assert_max_num_queries(31):
        assert make_ahead(calm_s=0) == 10
    assert fresh_of(kind, 1, None) == {
        (model.pk, key): f"{model.pk} {key}".encode() for model in models for key in KEYS
    }
    assert set(KeptPart.objects.filter(body__gt=b"").values_list("spent_s", flat=True)) == {SPENT_S}


def test_a_model_that_changed_waits_ten_times_as_long_as_it_took(kind, models) -> None:
    make_ahead(calm_s=0)
    changed(models[0])
    long_ago(99.0, models[0].pk)
    assert make_ahead() == 0
    long_ago(101.0, models[0].pk)
    assert make_ahead() == 5


def test_what_was_never_made_waits_as_all_else(kind, models) -> None:
    assert make_ahead() == 0
    long_ago(4.0)
    assert make_ahead() == 10


def test_what_was_made_in_part_is_waited_for_as_well(kind, models, clock) -> None:
    long_ago(4.0)
    assert make_ahead(budget_s=30.0) == 2  # the share is spent after the first two
    (first,) = KeptPart.objects.values_list("pump_model", flat=True).distinct()
    changed(PumpModel.objects.get(pk=first))
    long_ago(39.0, first)
    assert make_ahead(budget_s=100.0) == 5  # the other one
    long_ago(41.0, first)
    assert make_ahead(budget_s=100.0) == 5


def test_what_changes_all_models_is_waited_for_by_each(kind, models) -> None:
    make_ahead(calm_s=0)
    person = factories.operator()
    BenchSession.objects.create(clinic=person.clinic, operator=person, elevation_m=2000)
    long_ago(99.0, SITTINGS)
    assert make_ahead() == 0
    long_ago(101.0, SITTINGS)
    assert make_ahead() == 10


def test_a_tenth_of_the_time_is_for_what_takes_long(kind, models, clock, monkeypatch) -> None:
    monkeypatch.setattr(kept_ahead, "KINDS", (quick(kind, clock, 1.0), kind))
    long_ago(3600.0)
    assert make_ahead(budget_s=50.0) == 14
    assert clock == [18.0]  # ten quick ones, and four in the five seconds that are left for slow ones
    assert make_ahead(budget_s=50.0) == 3  # the last of one model, and two of the other
    assert make_ahead(budget_s=1.0) == 2


def test_what_takes_long_is_not_begun_where_no_time_is_left(kind, models, clock, monkeypatch) -> None:
    monkeypatch.setattr(kept_ahead, "KINDS", (quick(kind, clock, 7.0), kind))
    long_ago(4.0)
    assert make_ahead(budget_s=60.0) == 9
    assert clock == [63.0]


def test_all_at_once_waits_for_nothing(kind, models) -> None:
    make_ahead(calm_s=0)
    changed(models[1])
    assert make_ahead(calm_s=0) == 5


def test_a_kind_without_patience_waits_as_before(kind, models, monkeypatch) -> None:
    quick = PartKind("quick", kind.make, kind.keys)
    monkeypatch.setattr(kept_ahead, "KINDS", (quick,))
    make_ahead(calm_s=0)
    changed(models[0])
    long_ago(4.0)
    assert make_ahead() == 5


def failing(at: str) -> Callable[..., list[bytes]]:
    """A way to make several of which one fails."""

    def make_several(model, edition, keys):
        if at in keys:
            raise ZeroDivisionError(at)
        return [b"made" for _ in keys]

    return make_several


def test_of_several_that_fail_together_those_that_do_not_are_kept(models, monkeypatch) -> None:
    several = failing("c")
    kind = PartKind(
        "broken", lambda *of: several(*of[:2], [of[2]])[0], lambda *_: KEYS, make_several=several, at_once=5
    )
    monkeypatch.setattr(kept_ahead, "KINDS", (kind,))
    monkeypatch.setattr(kept_ahead, "_nothing_to_do_at", [])
    with pytest.raises(ZeroDivisionError):
        make_ahead(calm_s=0)
    assert {key for _, key in fresh_of(kind, 1, None)} == {"a", "b", "d", "e"}
    assert make_ahead(calm_s=0) == 0  # not tried again before a change

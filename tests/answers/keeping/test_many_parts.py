"""Parts are found by index, however many there are, and several kinds in one statement."""

import pytest
from django.db import connection

from registry.answers.keeping import parts as kept_parts
from registry.answers.keeping.parts import PartKind, Place, fresh_together, made
from registry.answers.keeping.program import code_mark
from tests import factories

pytestmark = pytest.mark.django_db

ONE = PartKind("one", lambda model, edition, key: f"one {key}".encode(), lambda *_: ("",))
OTHER = PartKind("other", lambda model, edition, key: b"other", lambda *_: ("",), sittings=True)
_MANY = """
INSERT INTO registry_keptpart (kind, key, edition, code, pump_model, changes, spent_s, body, made_at)
SELECT 'one', n::text, 1, %s, n %% 100, -1, 0.01, 'body', now() FROM generate_series(1, 5000) n
"""


@pytest.fixture
def many() -> int:
    """The key of a model, beside whose parts there are thousands."""
    with connection.cursor() as cursor:
        cursor.execute(_MANY, [code_mark()])
        cursor.execute("ANALYZE registry_keptpart")
    return factories.pump_model().pk


@pytest.mark.parametrize("models", ["of it", "of all"])
def test_a_part_among_many_is_found_by_index(many, models) -> None:
    values = {
        **ONE.by_this_program(1), "keys": ["LK000001"], "models": [many] if models == "of it" else None,
    }  # fmt: skip
    with connection.cursor() as cursor:
        cursor.execute(f"EXPLAIN {kept_parts._FRESH}", values)
        plan = "\n".join(line for (line,) in cursor.fetchall())
    assert "registry_keptpart_pkey" in plan
    assert "Seq Scan on registry_keptpart" not in plan


def test_parts_of_several_kinds_are_found_in_one_statement(many, django_assert_num_queries) -> None:
    made(ONE, 1, many, "LK000001")
    made(ONE, 1, many, "LK000002")
    with django_assert_num_queries(1):
        assert fresh_together(1, many, {ONE: "LK000001", OTHER: ""}) == {ONE: b"one LK000001"}
    made(OTHER, 1, many)
    assert fresh_together(1, many, {ONE: "LK000002", OTHER: ""}) == {ONE: b"one LK000002", OTHER: b"other"}
    assert fresh_together(1, many + 1, {ONE: "LK000002", OTHER: ""}) == {}


def test_each_kind_is_good_as_long_as_what_it_rests_on(many) -> None:
    made(ONE, 1, many, "")
    made(OTHER, 1, many)
    person = factories.operator()
    person.clinic.bench_sessions.create(operator=person, elevation_m=2000)
    assert fresh_together(1, many, {ONE: "", OTHER: ""}) == {ONE: b"one "}


def test_several_are_kept_in_one_statement_or_none_at_all(many, django_assert_num_queries) -> None:
    place = Place(ONE, 1, many)
    changes = place.changes()
    with django_assert_num_queries(1):
        place.keep({"b": b"1", "a": b"2"}, changes, 0.5)
    assert place.good() == {"a", "b"}
    place.keep({"c": b"1", "d": b"2"}, changes - 1, 0.5)
    assert place.good() == {"a", "b"}

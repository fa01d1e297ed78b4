"""The database counts every change of what kept answers rest on, whoever makes it."""

import pytest
from django.db import connection
from django.utils import timezone

from registry.intake.receive import receive
from registry.intake.withdraw import withdraw
from registry.models import BenchSession, ChangeCount, Edition, PumpModel, Run
from registry.models.kept import EVERYTHING, SITTINGS
from registry.models.watched import LABELS, OF_EVERYTHING, OF_SITTINGS, WATCHED
from tests import community
from tests.declared import provenance
from tests.traces import trace_bytes

pytestmark = pytest.mark.django_db
_TRIGGERS = """
SELECT tgrelid::regclass::text, array_agg(tgname::text ORDER BY tgname) FROM pg_trigger
WHERE tgname LIKE 'registry\\_watch\\_%' AND tgenabled = 'O' GROUP BY 1
"""
# A statement that changes what is there, by table.
CHANGES = {
    "registry_unitsummary": "mean = mean + 1",
    "registry_run": "note = 'x'",
    "registry_unit": "series = 'x'",
    "registry_revision": "firmware = '{9}'",
    "registry_serialscheme": "position = 7",
    "registry_serialspan": "source = 'x'",
    "registry_claim": "value = 7",
    "registry_claimevent": "value = 7",
    "registry_pumpmodel": "name = 'x'",
    "registry_measurement": "value = 7",
    "registry_finding": "code = 'x'",
    "registry_benchsession": "elevation_m = 7",
    "registry_edition": "is_current = NOT is_current",
    "registry_maker": "name = 'x'",
    "registry_clinic": "code = 'x'",
    "registry_operator": "pseudonym = handle",
    "registry_gauge": "code = 'x'",
    "registry_rig": "valve = 'x'",
    "registry_runwas": "state = 'x'",
    "registry_unitwas": "revision_id = NULL",
}


def counts() -> dict[int, int]:
    """How often each scope changed."""
    found: dict[int, int] = {}
    for scope, n in ChangeCount.objects.values_list("scope", "n"):
        found[scope] = found.get(scope, 0) + n
    return found


def execute(statement: str) -> None:
    """One statement past everything but the database."""
    with connection.cursor() as cursor:
        cursor.execute(statement)


@pytest.fixture
def stored():
    """Two runs, one withdrawn, of a unit whose revision changed."""
    community.catalogue()
    operator = community.operator()
    run = receive(trace_bytes(seconds=3), provenance(), operator).run
    receive(trace_bytes(), provenance(level=4), operator)
    withdraw(run.pk, operator, "rig leaked")
    execute("UPDATE registry_unit SET revision_id = NULL, revision_basis = 'unknown'")


def test_every_table_named_is_watched_and_no_other():
    with connection.cursor() as cursor:
        cursor.execute(_TRIGGERS)
        found = dict(cursor.fetchall())
    every = [f"registry_watch_{what}" for what in ("delete", "insert", "truncate", "update")]
    but_new = [name for name in every if not name.endswith("insert")]
    assert found == {table: but_new if table in LABELS else every for table in WATCHED}


@pytest.mark.parametrize("table", sorted(WATCHED))
def test_a_change_is_counted_for_whom_it_concerns(stored, table):
    model = PumpModel.objects.get().pk
    before = counts()
    execute(f"UPDATE {table} SET {CHANGES[table]}")
    grown = {scope for scope, n in counts().items() if n > before.get(scope, 0)}
    scope = EVERYTHING if table in LABELS | OF_EVERYTHING | OF_SITTINGS else model
    assert grown == {scope}


@pytest.mark.parametrize("table", ["unitsummary", "measurement", "finding", "claim", "serialspan"])
def test_what_goes_is_counted(stored, table):
    model = PumpModel.objects.get().pk
    before = counts()
    execute(f"DELETE FROM registry_{table}")
    assert counts()[model] > before[model]
    assert counts().get(EVERYTHING, 0) == before.get(EVERYTHING, 0)


@pytest.mark.parametrize("table", sorted(LABELS))
def test_a_label_written_as_it_was_is_no_change(stored, table):
    before = counts()
    key = "pgh_id" if "was" in table else "id"
    execute(f"UPDATE {table} SET {key} = {key}")
    assert counts() == before


def test_a_statement_that_touches_nothing_is_no_change(stored):
    before = counts()
    for table in WATCHED:
        execute(f"DELETE FROM {table} WHERE false")
    assert counts() == before


def test_a_sitting_where_the_clinic_was_before_is_no_change(stored):
    session = BenchSession.objects.get()
    before = counts().get(SITTINGS, 0)

    def again(code: str, elevation: float | None) -> None:
        session.pk, session.gauge_code, session.elevation_m = None, code, elevation
        session.held_on = timezone.now().date()
        session.save(force_insert=True)

    again("one", None)
    assert counts().get(SITTINGS, 0) == before
    again("two", 1200)
    assert counts()[SITTINGS] == before + 1
    again("three", 1200)
    assert counts()[SITTINGS] == before + 1


def test_a_truncated_table_changes_everything(stored):
    before = counts().get(EVERYTHING, 0)
    execute("TRUNCATE registry_unitsummary")
    assert counts()[EVERYTHING] == before + 1


def test_counts_go_with_what_they_count(stored):
    before = counts()
    savepoint = connection.savepoint()
    Run.objects.update(note="y")
    Edition.objects.create(number=7)
    assert counts() != before
    connection.savepoint_rollback(savepoint)
    assert counts() == before

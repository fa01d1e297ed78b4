"""A large invented community put straight into the tables, as a million uploads would leave them.

The database makes runs and measurements itself; summaries are made from them by the product's own statement,
so that they are true. Left out is what no answer reads: bytes, cycles, and the parts of uncertainties. Run as
`python -m tests.bench.crowd MODELS LARGE` in the environment of a server whose database is migrated.
"""

import sys
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import django
from django.db import connection

# A usual model has 60 units of two builds at six clinics, and every fifth goes on to the next clinic; ten
# settings, two to five runs each. A large one has ten times the units at four times the clinics, each read
# four times as often. From 4 to 400 models it is models and clinics that grow in number.
USUAL = {"units": 60, "at": 6, "often": 1}
LARGE = {"units": 600, "at": 24, "often": 4}
# Metric, unit, value at level 0, rise a level, change in build B, and what units, clinics and runs differ by.
METRICS = """
(1, 'cycle_rate', 'cycles/min', 55, 6, -1.5, 1.2, .5, .5), (2, 'peak_vacuum', 'mmHg', 90, 35, 6, 5, 3, 2),
(3, 'residual_vacuum', 'mmHg', 20, 3, 1, 2, 1, .7), (4, 'vacuum_swing', 'mmHg', 70, 32, 5, 5, 2.5, 2),
(5, 'mean_vacuum', 'mmHg', 50, 18, 3, 3, 1.5, 1), (6, 'pull_time', 's', .3, .01, .01, .01, .003, .004),
(7, 'release_time', 's', .2, .01, 0, .01, .003, .004),
(8, 'hold_time', 's', .25, .01, 0, .01, .003, .005),
(9, 'duty_factor', '1', .45, .005, .002, .01, .003, .003),
(10, 'peak_spread', '1', .02, 0, 0, .003, .001, .002),
(11, 'peak_pull_rate', 'mmHg/s', 400, 120, 20, 25, 9, 9),
(12, 'period_spread', '1', .01, 0, 0, .002, .001, .001),
(13, 'peak_drift', 'mmHg/min', -1, 0, 0, .5, .2, .4),
(14, 'loss_rate', 'per 100 cycles', 2, 0, 0, .3, .1, .3),
(15, 'settling_time', 's', 3, .1, 0, .4, .1, .3)
"""
_PEOPLE = """
INSERT INTO registry_maker (id, name) SELECT k, 'Maker ' || k FROM generate_series(1, %(makers)s) k;
INSERT INTO registry_pumpmodel (id, name, catalogue_version, maker_id)
SELECT k, 'Model ' || k, 0, 1 + k %% %(makers)s FROM generate_series(1, %(models)s) k;
INSERT INTO registry_serialscheme (id, pattern, "order", position, pump_model_id)
SELECT k, '(?P<plant>[A-Z]{2})(?P<number>[0-9]{6})', '{number}', 0, k FROM generate_series(1, %(models)s) k;
INSERT INTO registry_revision (id, label, "order", firmware, marks, pump_model_id)
SELECT 2 * k - 1 + b, chr(65 + b), b + 1, '{}', '{}', k
FROM generate_series(1, %(models)s) k, generate_series(0, 1) b;
INSERT INTO registry_clinic (id, code, created_at)
SELECT c, 'clinic-' || c, now() FROM generate_series(1, %(clinics)s) c;
INSERT INTO registry_operator (id, pseudonym, handle, is_curator, is_active, created_at, clinic_id)
SELECT c, 'one', 'clinic-' || c || '/one', false, true, now(), c FROM generate_series(1, %(clinics)s) c;
INSERT INTO registry_gauge (id, code, gauge_model, range_low_mmhg, range_high_mmhg, resolution_mmhg,
                            accuracy_mmhg, accuracy_fraction, declared, clinic_id)
SELECT c, 'G1', 'logger', 0, 400, .1, 2, 0, '{}', c FROM generate_series(1, %(clinics)s) c;
INSERT INTO registry_benchsession (id, gauge_code, held_on, power, elevation_m, operator_id, clinic_id,
                                   gauge_id)
SELECT 10 * c - d, 'G1', date '2026-01-01' + d * 20, 'mains', 10 * (c %% 20), c, c, c
FROM generate_series(1, %(clinics)s) c, generate_series(0, 9) d;
INSERT INTO registry_rig (id, protector, valve, tubing, flange_mm)
VALUES (1, 'flat', 'duckbill', '90 cm', 24), (2, 'flat', 'membrane', '90 cm', 24);
CREATE UNLOGGED TABLE seat (unit bigint, clinic bigint, model bigint, build int, often int, n int);
CREATE UNLOGGED TABLE lean (of_unit bigint, of_clinic bigint, x float, y float);
"""
_UNITS = """
INSERT INTO registry_unit (serial, series, key, revision_basis, pump_model_id, revision_id, scheme_id)
SELECT 'LK' || lpad(n::text, 6, '0'), 'LK', n, 'observed', k, 2 * k - 1 + n %% 2, k
FROM generate_series(%(first)s, %(last)s) k, generate_series(1, %(units)s) n;
INSERT INTO seat
SELECT u.id, 1 + (7 * u.pump_model_id + (u.key::int / 2) %% %(at)s + v) %% %(clinics)s, u.pump_model_id,
       u.key::int %% 2, %(often)s, u.key::int
FROM registry_unit u, generate_series(0, (u.key::int %% 5 = 0)::int) v
WHERE u.pump_model_id BETWEEN %(first)s AND %(last)s;
"""
# One unit in fifty is wild. A unit's runs at a clinic come together, in the order in which clinics upload.
# Build B runs another firmware, which some units of A were given too; at one setting another valve was tried.
_RUNS = """
INSERT INTO lean SELECT id, NULL, random_normal() + 6 * (id %% 50 = 7)::int, random_normal()
FROM registry_unit;
INSERT INTO lean SELECT NULL, id, random_normal(), random_normal() FROM registry_clinic;
INSERT INTO registry_run (id, identity, state, firmware, mode, programme, level, side, note, provenance, read,
                          created_at, withdrawn_why, clinic_id, pump_model_id, rig_id, session_id, trace_id,
                          unit_id)
SELECT id, digest, CASE WHEN id %% 50 = 0 THEN 'held' ELSE 'accepted' END,
       CASE WHEN build = 1 OR n %% 10 = 0 AND repeat > 1 THEN '1.1' ELSE '1.0' END, mode, '', level::text,
       'single', '', '{}', '{}', now() - interval '1 year' + id * interval '30 s', '', clinic, model,
       CASE WHEN mode = 'expression' AND level = 5 AND repeat %% 2 = 0 THEN 2 ELSE 1 END,
       10 * clinic - id %% 10, digest, unit
FROM (
    SELECT row_number() OVER (ORDER BY hashint8(unit * 1009 + clinic), unit, mode, level) AS id, seat.*, mode,
           level, repeat
    FROM seat, unnest(ARRAY['stimulation', 'expression']) mode, generate_series(1, 5) level,
         generate_series(1, often * (2 + (n + level + length(mode)) %% 4)) repeat
) run, LATERAL (SELECT encode(sha256(int8send(id)), 'hex') AS digest) d;
INSERT INTO registry_trace (digest, size, received_at) SELECT trace_id, 60000, created_at FROM registry_run;
INSERT INTO registry_finding (run_id, edition_id, code, severity, message, hint)
SELECT id, 1, CASE WHEN id %% 100 = 0 THEN 'clipped' ELSE 'too_short' END, 'hold', 'seen', 'record again'
FROM registry_run WHERE state = 'held';
"""
_MEASUREMENTS = f"""
INSERT INTO registry_measurement (run_id, edition_id, metric, value, unit, u, u_random, u_systematic, parts)
SELECT r.id, 1, m.metric,
       (base + rise * level::int + change * (revision_id %% 2 = 0)::int)
       * CASE mode WHEN 'expression' THEN 1 ELSE 1.2 END
       + of_units * (cos(i) * u.x + sin(i) * u.y) + of_clinics * (cos(i) * c.x + sin(i) * c.y)
       + of_runs * random_normal(),
       m.unit, sqrt(of_runs ^ 2 / 4 + of_clinics ^ 2), of_runs / 2, of_clinics, '{{}}'
FROM registry_run r JOIN registry_unit ON registry_unit.id = r.unit_id
JOIN lean u ON u.of_unit = r.unit_id JOIN lean c ON c.of_clinic = r.clinic_id,
(VALUES {METRICS}) m (i, metric, unit, base, rise, change, of_units, of_clinics, of_runs)
WHERE r.id > %(after)s AND r.id <= %(until)s
"""
_INDEXES = """
SELECT conrelid::regclass || '', conname, pg_get_constraintdef(oid) FROM pg_constraint
WHERE contype IN ('u', 'f') AND conrelid::regclass::text = ANY(%s)
"""
_OTHERS = """
SELECT indexname, indexdef FROM pg_indexes WHERE tablename = ANY(%s) AND indexname NOT LIKE '%%_pkey'
AND indexname NOT IN (SELECT conname FROM pg_constraint)
"""
_BARE = ["registry_run", "registry_measurement", "registry_trace", "registry_finding"]
_OWN = "SELECT sequence_name FROM information_schema.sequences WHERE sequence_name LIKE 'registry\\_%'"
_CORES = 2


def load(models: int, large: int) -> None:
    """Fill an empty, migrated database with so many pump models; the first `large` of them are large."""
    sizes = {"models": models, "makers": 1 + models // 10, "clinics": max(12, models // 4)}
    _run(_PEOPLE, **sizes)
    for shape, first, last in ((LARGE, 1, large), (USUAL, large + 1, models)):
        _run(_UNITS, first=first, last=last, **shape, **sizes)
    again = _without_indexes() + _without_triggers()
    _run(_RUNS)
    runs = _one("SELECT count(*) FROM registry_run")
    parts = 20
    _at_once(
        lambda part: _run(_MEASUREMENTS, after=runs * part // parts, until=runs * (part + 1) // parts),
        range(parts),
    )
    _at_once(_run, again)
    _run("ANALYZE")
    _at_once(_summarise, range(1, models + 1))
    _run("DROP TABLE seat, lean", *(_after(name) for (name,) in _all(_OWN)))
    _run("VACUUM ANALYZE")


def _summarise(model: int) -> None:
    # What it imports are models, which are there only once Django is set up.
    from registry.intake.remeasuring.cells import fill_cells  # noqa: PLC0415

    fill_cells(1, [run for (run,) in _all("SELECT id FROM registry_run WHERE pump_model_id = %s", [model])])


def _without_indexes() -> list[str]:
    """Drop indexes and references, which would only slow loading down; returns what makes them again."""
    constraints, indexes = _all(_INDEXES, [_BARE]), _all(_OTHERS, [_BARE])
    _run(*(f"ALTER TABLE {table} DROP CONSTRAINT {name}" for table, name, _ in constraints))
    _run(*(f"DROP INDEX {name}" for name, _ in indexes))
    made = [f"ALTER TABLE {table} ADD CONSTRAINT {name} {what}" for table, name, what in constraints]
    return made + [definition for _, definition in indexes]


def _without_triggers() -> list[str]:
    """Let nobody count changes, as nobody has asked anything yet; returns what brings the triggers back."""
    _run(*(f"ALTER TABLE {table} DISABLE TRIGGER USER" for table in _BARE))
    return [f"ALTER TABLE {table} ENABLE TRIGGER USER" for table in _BARE]


def _after(sequence: str) -> str:
    """A statement that lets a sequence go on after the rows that are there."""
    table = sequence.removesuffix("_id_seq")
    return f"SELECT setval('{sequence}', (SELECT coalesce(max(id), 0) + 1 FROM {table}))"


def _at_once(work: Callable[[Any], None], over: Iterable[Any]) -> None:
    with ThreadPoolExecutor(_CORES) as pool:
        list(pool.map(work, over))


def _run(*statements: str, **values: Any) -> None:
    """Execute statements one by one."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SET maintenance_work_mem = '512MB'; SET work_mem = '256MB'; SET synchronous_commit = off"
        )
        for statement in statements:
            for one in statement.split(";\n"):
                if one.strip():
                    cursor.execute(one, values)


def _all(question: str, values: list[Any] | None = None) -> list[tuple[Any, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(question, values)
        return list(cursor.fetchall())


def _one(question: str) -> int:
    return int(_all(question)[0][0])


if __name__ == "__main__":
    django.setup()
    load(int(sys.argv[1]), int(sys.argv[2]))

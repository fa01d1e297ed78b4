"""One pump model with a million units and ten thousand spans, put straight into the tables.

Run as `python -m tests.bench.series` in the environment of a server whose database is migrated.
"""

import django
from django.db import connection

UNITS, SPANS = 1_000_000, 10_000
MODEL = "Series One"
# Two serials a unit; two hundred a span, the last forty of them left between it and the next. Builds change
# every fifty spans. Each unit was measured once or twice, by one or two of forty clinics, which said its
# build.
_FILL = """
INSERT INTO registry_maker (id, name) VALUES (1, 'Maker 1');
INSERT INTO registry_pumpmodel (id, name, catalogue_version, maker_id) VALUES (1, 'Series One', 0, 1);
INSERT INTO registry_serialscheme (id, pattern, "order", position, pump_model_id)
VALUES (1, '(?P<plant>[A-Z]{{2}})(?P<number>[0-9]{{7}})', '{{number}}', 0, 1);
INSERT INTO registry_revision (id, label, "order", firmware, marks, pump_model_id)
SELECT b, chr(64 + b), b, '{{}}', '{{}}', 1 FROM generate_series(1, 4) b;
INSERT INTO registry_clinic (id, code, created_at)
SELECT c, 'clinic-' || c, now() FROM generate_series(1, 40) c;
INSERT INTO registry_operator (id, pseudonym, handle, is_curator, is_active, created_at, clinic_id)
SELECT c, 'one', 'clinic-' || c || '/one', false, true, now(), c FROM generate_series(1, 40) c;
INSERT INTO registry_benchsession (id, gauge_code, held_on, power, operator_id, clinic_id)
SELECT c, '', '2026-01-01', 'mains', c, c FROM generate_series(1, 40) c;
INSERT INTO registry_rig (id, protector, valve, tubing) VALUES (1, 'flat', 'duckbill', '90 cm');
INSERT INTO registry_trace (digest, size, received_at) VALUES (repeat('0', 64), 1, now());
INSERT INTO registry_serialspan (pump_model_id, revision_id, scheme_id, series, first, last, keys, basis,
                                 source)
SELECT 1, 1 + (k / 50) % 4, 1, 'LK', 'LK' || lpad((200 * k + 1)::text, 7, '0'),
       'LK' || lpad((200 * k + 160)::text, 7, '0'), numrange(200 * k + 1, 200 * k + 160, '[]'),
       CASE WHEN k % 10 = 9 THEN 'observed' ELSE 'declared' END, 'letter'
FROM generate_series(0, {spans} - 1) k;
INSERT INTO registry_unit (id, serial, series, key, revision_basis, pump_model_id, asserted_id, revision_id,
                           scheme_id)
SELECT n, 'LK' || lpad((2 * n)::text, 7, '0'), 'LK', 2 * n, 'observed', 1, 1 + (n / 5000) % 4,
       1 + (n / 5000) % 4, 1
FROM generate_series(1, {units}) n;
INSERT INTO registry_run (identity, state, firmware, mode, programme, level, side, note, provenance, read,
                          created_at, withdrawn_why, clinic_id, pump_model_id, rig_id, session_id, trace_id,
                          unit_id, asserted_id)
SELECT md5(n || '/' || often), 'accepted', '', 'expression', '', '3', 'single', '', '{{}}', '{{}}',
       now() - n * interval '20 s', '', c, 1, 1, c, repeat('0', 64), n, 1 + (n / 5000) % 4
FROM generate_series(1, {units}) n, generate_series(0, (n % 3 = 0)::int) often,
     LATERAL (SELECT 1 + (n * 7 + often) % 40 AS c) clinic
"""
# Nothing here refers to what is not there, and the database lives as long as the measurement.
_REFERENCES = """
SELECT conrelid::regclass, conname FROM pg_constraint
WHERE contype = 'f' AND conrelid IN ('registry_unit'::regclass, 'registry_run'::regclass)
"""


def fill() -> None:
    """Store the series, and let the planner know of it."""
    with connection.cursor() as cursor:
        cursor.execute("SET synchronous_commit = off; SET maintenance_work_mem = '256MB'")
        cursor.execute(_REFERENCES)
        for table, name in cursor.fetchall():
            cursor.execute(f"ALTER TABLE {table} DROP CONSTRAINT {name}")
        for statement in _FILL.format(spans=SPANS, units=UNITS).split(";\n"):
            cursor.execute(statement)
        cursor.execute("VACUUM ANALYZE")


if __name__ == "__main__":
    django.setup()
    fill()

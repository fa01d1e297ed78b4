"""Benches as tables: every field has its column, scores have a row each, and nobody is named."""

import pytest

from registry.answers.benches.answer import answer_benches
from registry.answers.exports.benchtable import BENCHES, ROUNDS
from tests.benched import CLINICS, benched

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def community():
    return benched()


def rows(table):
    names = [column.name for column in table.columns]
    return [dict(zip(names, row, strict=True)) for chunk in table.fill().chunks for row in chunk]


@pytest.mark.parametrize("table", [BENCHES, ROUNDS], ids=lambda table: table.name)
def test_every_field_of_a_row_has_a_column_or_is_left_out_by_name(table):
    document = table.ask()
    taken = {column.key or column.name for column in table.columns if not column.whole}
    fields = set().union(*(part for row in document[table.rows] for part in table.spread(row)))
    assert fields
    assert taken | table.left_out == fields
    assert not {cell for row in rows(table) for cell in row.values()} & set(CLINICS)


def test_an_offset_has_a_row_a_clinic_and_quantity():
    found, told = rows(BENCHES), answer_benches()["benches"]
    assert len(found) == len(told) == 10
    for row, bench in zip(found, told, strict=True):
        assert {name: row[name] for name in bench if name != "own"} == {
            name: value for name, value in bench.items() if name != "own"
        }


def test_a_round_has_a_row_a_score():
    found, told = rows(ROUNDS), answer_benches()["rounds"]
    assert len(found) == 10
    (setting,) = told[0]["settings"]
    first = found[0]
    assert (first["serial"], first["clinics"], first["level"]) == ("LK001999", 5, setting["level"])
    assert (first["assigned"], first["by"]) == (setting["assigned"], setting["by"])
    assert (first["z"], first["en_reads"]) == (setting["scores"][0]["z"], "action")

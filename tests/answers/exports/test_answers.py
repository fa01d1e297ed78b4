"""Answers as tables: every field of a row has its column, nested ones taken apart, long answers followed."""

from typing import Any

import pytest

from registry.answers.claiming.claims import answer_claims
from registry.answers.comparing.comparisons import answer_comparison
from registry.answers.comparing.swaps import answer_swap
from registry.answers.distributions.answer import answer_distributions
from registry.answers.exports.answers import ANSWERS
from registry.answers.exports.answertable import AnswerTable
from registry.answers.exports.claimtable import CLAIMS
from registry.answers.exports.columns import count, number, text, time
from registry.answers.exports.dictionary import check_columns
from registry.answers.exports.tables import TABLES
from registry.answers.matching.settings import answer_settings
from registry.answers.serials import answer as serials
from registry.models import Claim, Unit
from tests import factories

pytestmark = pytest.mark.django_db
ASKED = {
    "serials": {"first": "LK000000", "last": "LK000999"},
    "distributions": {},
    "comparisons": {"old": "A", "new": "B"},
    "part-swaps": {"old": "A", "new": "B", "part": "protector", "old_part": "cup", "new_part": "dome"},
    "claims": {},
    "settings-matches": {"rate": "50..", "vacuum": "..300"},
}


@pytest.fixture
def benches():
    """Two builds, each measured in three clinics with two protectors, and a claim."""
    factories.edition()
    model = factories.pump_model()
    said = {"metric": "peak_vacuum", "relation": "at least", "value": 230.0, "unit": "mmHg"}
    Claim.objects.create(pump_model=model, mode="expression", source="leaflet", **said)
    for c, code in enumerate(("north", "south", "east")):
        for k, label in enumerate("AABB"):
            unit = factories.unit(model, f"LK{100 * c + k:06}", label)
            for d, rig in enumerate((factories.rig("cup"), factories.rig("dome"))):
                factories.summary(unit, 240 + 2 * c + 3 * k + 5 * d + c * k * d, code, rig=rig)
                rate = {"metric": "cycle_rate", "metric_unit": "cycles/min"}
                factories.summary(unit, 60 - k / 9 + c * d / 7, code, rig=rig, **rate)


def rows(name, **asked):
    table = TABLES[name]
    names = [column.name for column in table.columns]
    return [dict(zip(names, row, strict=True)) for chunk in table.fill(**asked).chunks for row in chunk]


@pytest.mark.parametrize("table", [*ANSWERS, CLAIMS], ids=lambda table: table.name)
def test_every_field_of_an_answer_s_row_has_a_column_or_is_left_out_by_name(table, benches):
    document = table.ask(model="Lapwing One", **ASKED[table.name])
    taken = {column.key or column.name for column in table.columns if not column.whole}
    fields = set().union(*(part for row in document[table.rows] for part in table.spread(row)))
    assert fields
    assert taken | table.left_out == fields
    assert {column.key or column.name for column in table.columns if column.whole} <= set(document)


@pytest.mark.parametrize("table", TABLES.values(), ids=lambda table: table.name)
def test_every_column_is_told_and_has_a_name_of_its_own(table):
    check_columns(table.columns)
    for column in table.columns:
        assert column.description
        assert column.name.isidentifier()
        assert column.name == column.name.lower()


def test_two_columns_of_one_name_are_noticed():
    with pytest.raises(ValueError, match="a"):
        check_columns([text("a", "one"), number("a", "two")])


def test_a_distribution_has_a_row_a_cell_with_its_quantiles():
    model = factories.pump_model()
    factories.edition()
    for c, code in enumerate(("north", "south", "east")):
        for k in range(3):
            unit = factories.unit(model, f"LK{100 * c + k:06}", "A")
            factories.summary(unit, 240 + 2 * c + 3 * k, code)
    (cell,) = answer_distributions("Lapwing One")["cells"]
    (row,) = rows("distributions", model="lapwing one")
    assert row["model"] == "Lapwing One"
    assert row["edition"] == 1
    assert [row[f"q{p}"] for p in (10, 25, 50, 75, 90)] == list(cell["quantiles"].values())
    nested = {"quantiles", *TABLES["distributions"].left_out}
    assert {name: row[name] for name in cell if name not in nested} == {
        name: value for name, value in cell.items() if name not in nested
    }
    assert rows("distributions", model="lapwing one", level="9") == []


def test_a_comparison_has_a_row_a_setting_with_what_it_is_asked_of(benches):
    document = answer_comparison("Lapwing One", "A", "B")
    found = rows("comparisons", model="Lapwing One", old="A", new="B")
    assert len(found) == len(document["settings"]) == 4
    for row, setting in zip(found, document["settings"], strict=True):
        assert (row["old_build"], row["new_build"]) == (document["old"], document["new"])
        assert row["overall"] == document["verdict"]
        assert (row["old"], row["difference"], row["verdict"]) == tuple(
            setting[name] for name in ("old", "difference", "verdict")
        )
        assert row["needs_units"] == (setting["needs"] or {}).get("units")
        assert row["band_old"] == (setting["bands"] or {}).get("old")


def test_a_part_swap_has_a_row_a_setting_with_its_shares_side_by_side(benches):
    document = answer_swap("Lapwing One", **ASKED["part-swaps"])
    found = rows("part-swaps", model="Lapwing One", **ASKED["part-swaps"])
    assert len(found) == len(document["settings"]) == 2
    for row, setting in zip(found, document["settings"], strict=True):
        assert (row["swapped"], row["old_part"], row["new_part"]) == ("protector", "cup", "dome")
        assert [row[name] for name in row if name.startswith("units_")] == setting["units"]
        for share in ("total", "part", "base", "interaction", "part_on_old", "part_on_new"):
            assert row[share] == setting[share]["value"]
            assert row[f"{share}_percent_high"] == setting[share]["percent_high"]
        assert row["missing"] == ""


def test_every_row_of_a_part_swap_tells_the_runs_that_are_missing(benches):
    for label, part in (("A", "cup"), ("B", "dome")):
        unit = Unit.objects.filter(revision__label=label).first()
        factories.summary(unit, 200, "north", level="7", rig=factories.rig(part))
    document = answer_swap("Lapwing One", **ASKED["part-swaps"])
    first, second = (one["says"] for one in document["missing"])
    assert "B with protector cup" in second
    found = rows("part-swaps", model="Lapwing One", **ASKED["part-swaps"])
    assert [row["missing"] for row in found] == [f"{first}; {second}"] * 2


def test_a_setting_has_a_row_a_metric(benches):
    asked = ASKED["settings-matches"]
    document = answer_settings("Lapwing One", needs=asked)
    found = rows("settings-matches", model="Lapwing One", **asked)
    assert len(found) == 2 * len(document["settings"]) > 0
    first, best = found[0], document["settings"][0]
    assert (first["revision"], first["state"], first["probability"]) == tuple(
        best[name] for name in ("revision", "state", "probability")
    )
    assert first["metric_centre"] == best["metrics"][first["metric"]]["centre"]
    assert first["metric_difference"] is None
    (like, *_) = rows("settings-matches", model="Lapwing One", like="A:expression:3")
    assert like["metric_difference"] is not None
    assert like["distance"] is not None


def test_a_claim_has_a_row_a_revision_with_where_it_was_judged(benches):
    (held, *others) = rows("claims", model="Lapwing One")
    (shown, *_) = answer_claims("Lapwing One")["claims"]
    assert (held["mode"], held["judged_level"]) == ("expression", shown["setting"]["level"])
    assert (held["value"], held["verdict"], held["risk"]) == (230.0, shown["verdict"], shown["risk"])
    assert [row["revision"] for row in (held, *others)] == ["A", "B"]


def test_serials_cut_for_their_length_are_followed_to_the_end(monkeypatch):
    model = factories.pump_model()
    factories.edition()
    for number_ in range(0, 60, 10):
        label = "A" if number_ % 20 else "B"
        factories.span(model, label, f"LK{number_:06}", f"LK{number_ + 9:06}")
    asked = {"model": "Lapwing One", "first": "LK000000", "last": "LK000059"}
    whole = rows("serials", **asked)
    assert [row["revision"] for row in whole] == ["B", "A"] * 3
    assert all(row["conflicts"] == 0 and row["conflicts_say"] == "" for row in whole)
    monkeypatch.setattr(serials, "MOST_SPANS", 2)
    assert rows("serials", **asked) == whole


def test_cells_are_read_by_key_picked_apart_and_made_of_their_kind():
    def ask(**_: Any) -> dict[str, Any]:
        row = {"n": 3, "when": "2026-01-05T10:00:00+01:00", "parts": [{"s": 1}, {"s": 2}], "none": None}
        return {
            "model": "M",
            "edition": 1,
            "as_of": "2026-01-05T09:00:00+00:00",
            "says": "s",
            "cautions": [],
            "rows": [row, {}],
        }

    columns = (
        text("model", "m", whole=True),
        number("n", "n"),
        time("when", "w"),
        count("many", "c", key="parts", pick=len),
        text("none", "x"),
    )
    table = AnswerTable("t", "d", ask, "rows", (), columns)
    ((full, bare),) = list(table.fill().chunks)
    assert full == ("M", 3.0, table.fill().as_of.replace(hour=9), 2, None)
    assert type(full[1]) is float
    assert bare == ("M", None, None, None, None)

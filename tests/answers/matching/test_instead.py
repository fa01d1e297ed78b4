"""What there is in place of what nothing has: the same of columns, of rows, and of both."""

import random
from dataclasses import replace

import numpy as np
import pytest

from registry.answers.keeping.parts import made
from registry.answers.matching.ahead_kept import AHEAD
from registry.answers.matching.ahead_table import Table
from registry.answers.matching.alike import bench_parts
from registry.answers.matching.instead import Either, Places
from registry.answers.matching.settings import answer_settings
from registry.answers.places import UNKNOWN_REVISION, Named
from registry.answers.unmatched import UNKNOWN, Rows, none_has
from tests import factories
from tests.answers.matching.measured import setting
from tests.answers.matching.places import METRICS, ahead_at

NEEDS = {"rate": "70..", "vacuum": "200..240"}
RIGS = ("flat / duckbill / soft / 24 mm / 0 mL", "domed / duckbill / soft / 27 mm / -", "cup / - / - / - / -")
WORDS = {
    "revision": ("A", "b", UNKNOWN, "Z"),
    "mode": ("expression", "stimulation"),
    "programme": ("p0", "P1", "", "none of them"),
    "level": ("0", "2", "77"),
    "side": ("single", "left"),
    "flange": ("24 mm", "", "30 mm"),
    "load": ("0 mL", "", "9 mL"),
    "power": ("mains", "", "battery"),
    "elevation": ("low", "high"),
    "metric": (*METRICS, "hold_time"),
}


def _table(chance: random.Random) -> Table:
    """Three models, of which one lacks a metric, with builds, rigs and power of any kind."""
    aheads = [ahead_at(1, 5), ahead_at(2, 4, METRICS[:2]), ahead_at(3, 3, METRICS[::-1])]
    return Table([replace(of, places=tuple(_other(one, chance) for one in of.places)) for of in aheads])


def _other(one: Named, chance: random.Random) -> Named:
    build, rig = chance.choice([(1, "A"), (2, "B"), (UNKNOWN_REVISION, None)]), chance.randrange(len(RIGS))
    place = one.place._replace(revision=build[0], rig=rig, power=chance.choice(["mains", "battery", ""]))
    return Named(place, one.model, build[1], RIGS[rig])


def _rows(table: Table, places: range) -> Rows:
    """The same places, a row a metric."""
    found = []
    for row in places:
        named = table.named(row)
        flange, load = bench_parts(named.rig)
        words = named.place._asdict() | {"revision": named.revision or UNKNOWN, "rig": named.rig}
        measured = [of for of in METRICS if not np.isnan(table.figures(of, "units")[row])]
        found += [{**words, "flange": flange, "load": load, "metric": metric} for metric in measured]
    return Rows(found)


@pytest.mark.parametrize("seed", range(40))
def test_columns_tell_what_rows_tell(seed) -> None:
    chance = random.Random(seed)
    table = _table(chance)
    everything = _rows(table, range(table.size))
    half = chance.randrange(table.size)
    both = Either(Places(table, np.arange(half)), _rows(table, range(half, table.size)))
    for _ in range(25):
        wanted = {kind: chance.choice([None, None, *words]) for kind, words in WORDS.items()}
        rig = chance.choice(["", "", "flat", "27 mm", "round"])
        expected = none_has(everything, wanted, rig)
        assert none_has(Places(table, np.arange(table.size)), wanted, rig) == expected
        assert none_has(both, wanted, rig) == expected


def test_where_there_is_nothing_nothing_is_told() -> None:
    nothing = Places(Table([]), np.arange(0))
    assert none_has(nothing, {"mode": "expression", "flange": "24 mm", "metric": "hold_time"}, "cup") == ""
    assert none_has(Rows([]), {"mode": "expression"}, "cup") == ""


@pytest.mark.django_db
@pytest.mark.parametrize("named", ["Lapwing One", None])
def test_what_there_is_is_told_alike_however_much_is_kept(named) -> None:
    one, two = factories.pump_model(), factories.pump_model("Lapwing Two")
    setting(one, "A", "5", 75, 220)
    setting(two, "A", "6", 70, 210, power="battery")
    asked = {"needs": {**NEEDS, "hold_time": "..1"}, "mode": "expression"}
    others = [{"programme": "soft"}, {"elevation": "high"}, {"rig": "domed"}, {}]
    stale = [answer_settings(named, **asked, **more)["says"] for more in others]
    made(AHEAD, 1, one.pk)
    some_kept = [answer_settings(named, **asked, **more)["says"] for more in others]
    made(AHEAD, 1, two.pk)
    assert stale == some_kept == [answer_settings(named, **asked, **more)["says"] for more in others]
    assert [says.partition("none has ")[2].split(";")[0] for says in stale] == [
        "programme soft", "elevation above 1500 m", "rig 'domed'", "metric hold time",
    ]  # fmt: skip


@pytest.mark.django_db
@pytest.mark.parametrize("levels", [2, 9])
def test_what_there_is_takes_no_more_queries_however_much_was_measured(
    levels, django_assert_max_num_queries
) -> None:
    model = factories.pump_model()
    for level in range(levels):
        setting(model, "A", str(level), 75, 220)
    with django_assert_max_num_queries(8):
        assert "none has programme soft" in answer_settings(needs=NEEDS, programme="soft")["says"]

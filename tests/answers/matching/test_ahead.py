"""What is ahead at settings: answers from kept parts are those from summaries, and what they are made of."""

import random
from itertools import combinations

import numpy as np
import pytest
from django.db import connection

from registry.answers.blocks import summary_blocks
from registry.answers.keeping.parts import made
from registry.answers.matching import ahead_kept
from registry.answers.matching.ahead import FIGURES, ahead_of, pairs_of
from registry.answers.matching.ahead_kept import AHEAD, Asked, table_of
from registry.answers.matching.ahead_packed import packed, unpacked
from registry.answers.matching.leaning import apart
from registry.answers.matching.settings import answer_settings
from registry.answers.places import names_in
from registry.models import ChangeCount, PumpModel, UnitSummary
from tests import factories

CLINICS = ("north", "south", "east")
METRICS = {
    "cycle_rate": ("cycles/min", 55.0, 6.0, 1.2),
    "peak_vacuum": ("mmHg", 120.0, 30.0, 5.0),
    "duty_factor": ("1", 0.45, 0.01, 0.01),
    "loss_rate": ("per 100 cycles", 2.0, 0.0, 0.4),
}
NEEDS = (
    {"rate": "70..", "vacuum": "180..240"},
    {"vacuum": "..210"},
    {"rate": "60..90", "vacuum": "150..", "duty_factor": "..0.5"},
    {"rate": "60..", "vacuum": "100..", "duty_factor": "..0.5", "loss_rate": "..3"},
    {"rate": "500.."},
)
FILTERS = (
    {},
    {"mode": "expression"},
    {"programme": "SOFT"},
    {"elevation": "high"},
    {"power": "battery"},
    {"rig": "bell"},
    {"mode": "stimulation", "power": "mains", "elevation": "low"},
)


@pytest.fixture
def community(db):
    """Three pump models of two builds at some settings each, of which some are thin or lack a metric."""
    chance = random.Random(7)
    for number in range(3):
        model = factories.pump_model(f"Pump {number}")
        for label, first in (("A", 1), ("B", 50_001)):
            for level in range(1, 4):
                measure(model, label, first, level, chance)


def measure(model, label, first, level, chance, **fixed):
    around = {
        "mode": chance.choice(["expression", "stimulation"]),
        "level": str(level),
        "programme": chance.choice(["", "Soft"]),
        "power": chance.choice(["mains", "battery"]),
        "elevation": chance.choice(["below 500 m", "above 1500 m"]),
        "rig": factories.rig(chance.choice(["cup", "bell"])),
        **fixed,
    }
    left_out = chance.choice([None, None, "duty_factor", "loss_rate"])
    for k in range(chance.choice([2, 5, 7])):
        unit = factories.unit(model, f"LK{first + k:06}", label)
        lean = chance.gauss(0, 1)
        for metric, (of, base, rise, spread) in METRICS.items():
            if metric != left_out:
                value = base + rise * level + spread * (lean + chance.gauss(0, 1))
                own = {
                    "metric": metric,
                    "metric_unit": of,
                    "u_systematic": spread / 10,
                    "u_random": spread / 9,
                }
                factories.summary(
                    unit, value, CLINICS[(k + level) % 3], **around, **own, sum_squares=spread / 9
                )


def likenesses():
    """What `like` can ask for of the community."""
    for row in (
        UnitSummary.objects.filter(metric="cycle_rate")
        .distinct("pump_model", "unit__revision", "mode", "programme", "level")
        .select_related("pump_model", "unit__revision")
    ):
        programme = f"{row.programme}:" if row.programme else ""
        yield row.pump_model.name, f"{row.unit.revision.label}:{row.mode}:{programme}{row.level}"


def questions():
    for needs in NEEDS:
        for filters in FILTERS:
            yield {"needs": needs, **filters}
            yield {"model": "Pump 1", "needs": needs, **filters}
        yield {"model": "Pump 2", "needs": needs, "revision": "B"}
    for model, like in likenesses():
        yield {"model": model, "like": like}
        yield {"like": like, "like_model": model, "vacuum_margin": 20}
        yield {"model": "Pump 0", "like": like, "like_model": model, "mode": "expression"}


def answered(asked):
    return {name: of for name, of in answer_settings(**asked).items() if name != "as_of"}


def make_all():
    for model in PumpModel.objects.all():
        made(AHEAD, 1, model.pk)


def test_answers_from_kept_parts_are_those_from_summaries(community) -> None:
    asked = list(questions())
    before = [answered(of) for of in asked]
    assert sum(bool(document["settings"]) for document in before) > 40
    make_all()
    for question, document in zip(asked, before, strict=True):
        assert answered(question) == document, question


def test_of_many_differences_the_nearest_are_kept_and_answers_stay_the_same(db, monkeypatch) -> None:
    model, chance = factories.pump_model("Pump 0"), random.Random(4)
    around = {
        "mode": "expression",
        "programme": "",
        "power": "mains",
        "elevation": "",
        "rig": factories.rig(),
    }
    for level in range(1, 6):
        measure(model, "A", 100 * level, level, chance, **around)
    asked = {"model": "Pump 0", "like": "A:expression:3"}
    before = answered(asked)
    monkeypatch.setattr(ahead_kept, "_MOST_LINKS", 4)
    kept = unpacked(made(AHEAD, 1, model.pk))
    vacuum = kept.figures_of("peak_vacuum")[:, FIGURES.index("median")]
    apart = {pair: abs(np.log(vacuum[pair[0]] / vacuum[pair[1]])) for pair in combinations(range(5), 2)}
    # Vacuum rises by a far larger share from level to level than rate.
    assert set(kept.links) == set(sorted(apart, key=apart.__getitem__)[:4])
    assert answered(asked) == before


def test_what_changed_since_is_worked_out_and_the_rest_is_not(community, monkeypatch) -> None:
    make_all()
    needs = {"needs": {"vacuum": "100.."}}
    before = answered(needs)
    model = PumpModel.objects.get(name="Pump 1")
    measure(model, "A", 101, 9, random.Random(3))
    read = []
    monkeypatch.setattr(
        ahead_kept, "summary_blocks", lambda *at, **of: read.append(of) or summary_blocks(*at, **of)
    )
    after = answered(needs)
    assert len(after["settings"]) == len(before["settings"]) + 1
    assert [of["pump_model__in"] for of in read] == [[model.pk]]


def test_where_all_is_kept_summaries_are_not_read(community, django_assert_num_queries) -> None:
    make_all()
    with django_assert_num_queries(3):
        answer_settings("Pump 1", needs=NEEDS[0])
    model, like = next(
        (model, like) for model, like in likenesses() if answer_settings(model, like=like)["settings"]
    )
    with django_assert_num_queries(4):
        answer_settings(model, like=like)


def test_programmes_are_alike_as_the_database_has_it(db) -> None:
    chance, model = random.Random(2), factories.pump_model("Pump 0")
    for level, programme in enumerate(("Soft", "straße", "STRASSE", "Brüt"), start=1):
        measure(model, "A", 100 * level, level, chance, programme=programme)
    asked = [{"needs": NEEDS[1], "programme": of} for of in ("SOFT", "strasse", "STRAßE", "BRÜT", "brut")]
    before = [answered(of) for of in asked]
    assert [len(document["settings"]) for document in before] == [1, 1, 1, 1, 0]
    make_all()
    assert [answered(of) for of in asked] == before


def test_packing_loses_nothing(community) -> None:
    blocks = summary_blocks(edition=1)
    for ahead in ahead_of(blocks, list(METRICS), names_in(blocks, None)):
        again = unpacked(packed(ahead))
        assert (again.places, again.metrics) == (ahead.places, ahead.metrics)
        for name in ("figures", "together", "counts"):
            assert np.array_equal(getattr(again, name), getattr(ahead, name), equal_nan=True)
        assert np.array_equal(again.leaning.means, ahead.leaning.means)
        for one, other in pairs_of(len(METRICS)):
            pair = list(METRICS)[one], list(METRICS)[other]
            assert np.array_equal(again.together_of(*pair), again.together_of(*pair[::-1]))


def test_a_model_nobody_measured_has_an_empty_part(db) -> None:
    model = factories.pump_model()
    assert unpacked(made(AHEAD, 1, model.pk)).places == ()
    assert answer_settings(needs=NEEDS[0])["settings"] == []


@pytest.fixture
def _new_process(monkeypatch, transactional_db):
    """Nothing is held, as when a process begins."""
    monkeypatch.setattr(ahead_kept, "_held", {})


@pytest.mark.usefixtures("_new_process")
def test_a_process_reads_again_only_what_changed(monkeypatch, django_assert_num_queries) -> None:
    chance = random.Random(1)
    models = [factories.pump_model(f"Pump {number}") for number in range(3)]
    for model in models:
        measure(model, "A", 1, 2, chance)
    make_all()
    read = []
    fresh = ahead_kept.fresh
    monkeypatch.setattr(
        ahead_kept, "fresh", lambda *at, models: read.append(list(models)) or fresh(*at, models=models)
    )
    asked = Asked(1, ("peak_vacuum",))
    assert table_of(asked, None).size == 3
    first = table_of(asked, None)
    with django_assert_num_queries(1):
        assert table_of(asked, None) is first
    measure(models[1], "B", 50_001, 3, chance)
    assert table_of(asked, None).size == 4
    made(AHEAD, 1, models[1].pk)
    assert table_of(asked, None).size == 4
    assert table_of(asked, None) is table_of(asked, None)
    keys = [model.pk for model in models]
    assert read[0] == keys
    assert all(of == [models[1].pk] for of in read[1:])


@pytest.mark.usefixtures("_new_process")
def test_what_was_read_of_a_database_that_was_replaced_is_not_held() -> None:
    measure(factories.pump_model("Pump 0"), "A", 1, 2, random.Random(1))
    make_all()
    counted = list(ChangeCount.objects.values())
    asked = Asked(1, ("peak_vacuum",))
    before = table_of(asked, None).figures("peak_vacuum", "mean").tolist()
    UnitSummary.objects.filter(metric="peak_vacuum").update(mean=99.0)
    with connection.cursor() as cursor:
        # As if restored: other summaries, and counts that happen to be those of before.
        cursor.execute("TRUNCATE registry_changecount, registry_keptpart")
    ChangeCount.objects.bulk_create(ChangeCount(**one) for one in counted)
    assert table_of(asked, None).figures("peak_vacuum", "mean").tolist() == [99.0] != before


@pytest.mark.usefixtures("_new_process")
def test_what_a_process_has_no_room_for_is_read_each_time(monkeypatch) -> None:
    chance = random.Random(1)
    for number in range(3):
        measure(factories.pump_model(f"Pump {number}"), "A", 1, 2, chance)
    expected = answered({"needs": {"vacuum": "100.."}})
    sizes = [len(made(AHEAD, 1, model.pk)) for model in PumpModel.objects.all()]
    ahead_kept._held.clear()
    monkeypatch.setattr(ahead_kept, "_MOST_BYTES_HELD", max(sizes) + 1)
    assert answered({"needs": {"vacuum": "100.."}}) == expected
    assert answered({"needs": {"vacuum": "100.."}}) == expected
    (held,) = ahead_kept._held.values()
    assert held.apart
    assert len(held.aheads) + len(held.apart) == 3


def of_pump(name, value, clinics):
    """A pump model with nine units at those clinics, whose gauges declare that they may lean by 8 mmHg."""
    model = factories.pump_model(name)
    for k in range(9):
        unit = factories.unit(model, f"LK{k + 1:06}", "A")
        wobble = 2.0 * ((k // 3) - 1)
        factories.summary(unit, value + wobble, clinics[k % 3], u_systematic=8.0)


def between_pumps():
    blocks = summary_blocks(edition=1)
    old, new = ahead_of(blocks, ["peak_vacuum"], names_in(blocks, None))
    (found,) = apart(old.leaning.at(0, 1), new.leaning.at(0, 1))
    return found


def test_gauges_that_read_both_pumps_leave_their_difference(db) -> None:
    of_pump("Pump 1", 200.0, CLINICS)
    of_pump("Pump 2", 212.0, CLINICS)
    value, error, _ = between_pumps()
    assert value == pytest.approx(12.0)
    # Units scatter by 2 about each of nine means, and leans of 8 are in both.
    assert error < 1.5


def test_gauges_of_other_clinics_do_not(db) -> None:
    of_pump("Pump 1", 200.0, CLINICS)
    of_pump("Pump 2", 212.0, ("west", "middle", "coast"))
    _, error, _ = between_pumps()
    assert error == pytest.approx(8.0 * (2 / 3) ** 0.5, rel=0.05)


def test_a_gauge_nobody_declared_is_never_the_same_one(db) -> None:
    for name in ("Pump 1", "Pump 2"):
        model = factories.pump_model(name)
        for k in range(6):
            unit = factories.unit(model, f"LK{k + 1:06}", "A")
            factories.summary(unit, 200.0 + k, CLINICS[k % 3], u_systematic=8.0, gauge_code=None)
    _, error, _ = between_pumps()
    assert error > 6.0


def test_likenesses_between_pumps_tell_their_doubt(db) -> None:
    for name, rate in (("Pump 1", 70.0), ("Pump 2", 70.5), ("Pump 3", 55.0)):
        of_pump(name, 200.0, CLINICS)
        model = PumpModel.objects.get(name=name)
        for k, unit in enumerate(model.units.order_by("serial")):
            own = {"metric": "cycle_rate", "metric_unit": "cycles/min", "u_systematic": 0.1, "u_random": 0.1}
            factories.summary(unit, rate + 0.3 * ((k // 3) - 1), CLINICS[k % 3], sum_squares=0.1, **own)
    near, far = answer_settings(like="A:expression:3", like_model="Pump 1")["settings"]
    assert (near["model"], near["within"]) == ("Pump 2", "within")
    assert (far["model"], far["within"]) == ("Pump 3", "not within")
    rate = near["metrics"]["cycle_rate"]
    assert rate["difference_low"] < 0.5 < rate["difference_high"]

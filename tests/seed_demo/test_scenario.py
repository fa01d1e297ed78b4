"""The invented community holds together: counts, serials, spans, plan."""

import re
from collections import Counter
from itertools import combinations

import pytest

from seed_demo.scenario.catalogue import catalogue, place, within
from seed_demo.scenario.community import community
from seed_demo.scenario.mishaps import declared_revision
from seed_demo.scenario.plan import planned_runs
from seed_demo.scenario.pumps import pump_truths
from seed_demo.scenario.recordings import make_recordings
from seed_demo.scenario.units import units


def test_counts() -> None:
    clinics = community().clinics
    assert len(clinics) >= 6
    assert len({clinic.elevation_m for clinic in clinics}) == len(clinics)
    assert min(c.elevation_m for c in clinics) < 10 and max(c.elevation_m for c in clinics) > 1500  # noqa: PT018
    assert len([gauge for clinic in clinics for gauge in clinic.gauges]) >= 8
    assert len({model["maker"] for model in catalogue().values()}) == 3
    assert len(catalogue()) == 4
    assert sum(len(pump.builds) > 1 for pump in pump_truths().values()) == 2
    assert len(units()) >= 60
    assert 360 <= len(planned_runs()) <= 480


def test_one_gauge_reads_off_and_the_others_keep_what_was_declared_of_them() -> None:
    gains = {g.code: g.truth.gain for clinic in community().clinics for g in clinic.gauges}
    assert {code for code, gain in gains.items() if abs(gain - 1.0) > 0.006} == {"QW-2"}
    assert gains["QW-2"] == pytest.approx(1.08)


def test_gauges_differ_in_unit_range_resolution_and_dialect() -> None:
    gauges = [gauge for clinic in community().clinics for gauge in clinic.gauges]
    assert {gauge.declared.unit for gauge in gauges} == {"mmHg", "kPa", "mbar", "inHg", "cmH2O", "psi"}
    assert len({gauge.dialect for gauge in gauges}) >= 6
    assert len({gauge.declared.resolution for gauge in gauges}) >= 4


def test_catalogue_and_truth_name_the_same_models_and_revisions() -> None:
    declared = {name: [r["label"] for r in model["revision"]] for name, model in catalogue().items()}
    built = {name: [b.revision for b in pump.builds] for name, pump in pump_truths().items()}
    assert declared == built


def test_firmware_of_every_lot_is_in_the_catalogue() -> None:
    for name, pump in pump_truths().items():
        for build, revision in zip(pump.builds, catalogue()[name]["revision"], strict=True):
            assert {lot.firmware for lot in build.lots} <= set(revision["firmware"])


def test_every_serial_is_read_by_its_models_scheme_and_is_unique() -> None:
    for unit in units():
        patterns = [scheme["pattern"] for scheme in catalogue()[unit.pump_model]["serial_scheme"]]
        assert any(re.fullmatch(pattern, unit.serial) for pattern in patterns)
    assert len({(unit.pump_model, unit.serial) for unit in units()}) == len(units())


def test_schemes_take_different_forms() -> None:
    orders = {tuple(s["order"]) for model in catalogue().values() for s in model["serial_scheme"]}
    assert {("number",), ("year", "week", "number"), ("year", "month", "number")} <= orders


def test_every_unit_lies_in_the_true_range_of_its_build_and_of_no_other() -> None:
    for unit in units():
        holding = [
            build.revision
            for build in unit.pump.builds
            for first, last in build.serials
            if within(unit.pump_model, unit.serial, first, last)
        ]
        assert holding == [unit.revision]


def test_declared_spans_are_apart_and_true() -> None:
    for name, model in catalogue().items():
        spans = [(r["label"], s) for r in model["revision"] for s in r.get("span", [])]
        for (_, one), (_, other) in combinations(spans, 2):
            assert not within(name, other["first"], one["first"], one["last"])
            assert not within(name, one["first"], other["first"], other["last"])
        for label, span in spans:
            truth = pump_truths()[name].build(label).serials
            for end in (span["first"], span["last"]):
                assert any(within(name, end, first, last) for first, last in truth)


def test_units_of_changed_models_are_declared_observed_and_unknown() -> None:
    for name in ("Pellomi", "Tivanne"):
        alike = [unit for unit in units() if unit.pump_model == name]
        undeclared = [unit for unit in alike if declared_revision(name, unit.serial) is None]
        assert len(alike) - len(undeclared) >= 5
        assert sum(unit.seen for unit in undeclared) >= 4
        assert sum(not unit.seen for unit in undeclared) >= 4


def test_places_of_one_series_follow_the_order_of_making() -> None:
    assert place("Tivanne", "23W50-9999") < place("Tivanne", "24W01-0001")
    assert place("Harluvet", "H24A9999") < place("Harluvet", "H24B0001")
    assert not within("Pellomi", "MR005000", "KV000001", "KV009999")


def test_plan_spreads_units_gauges_and_swaps() -> None:
    runs = planned_runs()
    assert len({run.name for run in runs}) == len(runs)
    travellers = Counter((u.pump_model, u.serial) for u in {(r.unit) for r in runs})
    assert len(travellers) == len(units())
    clinics_of = {u.serial: {r.clinic.code for r in runs if r.unit is u} for u in units()}
    assert sum(len(clinics) == len(community().clinics) for clinics in clinics_of.values()) == 4
    swapped = {(r.unit.revision, r.protector) for r in runs if r.protector != r.unit.build.protector}
    assert swapped == {("A", "domed membrane"), ("B", "flat membrane")}


def test_no_sitting_records_two_runs_at_once() -> None:
    moments = Counter((run.clinic.code, run.recorded_at) for run in planned_runs())
    assert max(moments.values()) == 1


def test_every_kind_of_mishap_is_there() -> None:
    expected = Counter(run.expected for run in planned_runs() if run.mishap)
    assert expected == {"held": 4, "refused": 1, "accepted": 2}


def test_same_plan_gives_the_same_bytes() -> None:
    some = planned_runs()[:4]
    once, again = make_recordings(some), make_recordings(some[::-1])[::-1]
    assert [r.data for r in once] == [r.data for r in again]
    assert [r.truth for r in once] == [r.truth for r in again]

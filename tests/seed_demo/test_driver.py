"""The demo's driver where it decides something: whom it refuses, what it writes, what it calls wrong."""

import json
import threading
import tomllib
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest

from client_cli import manifest
from client_cli.manifest import Row
from client_cli.upload import Outcome
from seed_demo.driver import ask, correct, people, told, truth
from seed_demo.driver.ask import pairs
from seed_demo.driver.files import write_files
from seed_demo.driver.fill import show_outcomes
from seed_demo.driver.home import DemoError
from seed_demo.scenario.catalogue import catalogue
from seed_demo.scenario.plan import planned_runs
from seed_demo.scenario.recordings import Recording


@pytest.fixture(autouse=True)
def _home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("VACUARY_HOME", str(tmp_path))


class _Clinics(BaseHTTPRequestHandler):
    """Answers every GET with a list of the clinics the server was given, or with a refusal."""

    codes: tuple[str, ...] | None = ()

    def do_GET(self) -> None:
        status = 200 if self.codes is not None else 401
        rows = [{"id": i, "code": code} for i, code in enumerate(self.codes or ())]
        told = {"results": rows, "next": None} if status == 200 else {"code": "not_signed_in", "detail": "no"}
        self.send_response(status)
        self.send_header("Content-Type", "application/json" if status == 200 else "application/problem+json")
        self.end_headers()
        self.wfile.write(json.dumps(told).encode())

    def log_message(self, *words: object) -> None:
        """Keep the tests' output clean."""


@pytest.fixture
def registry() -> Iterator[tuple[str, type[_Clinics]]]:
    """A registry that only lists clinics: its address, and the handler whose `codes` it lists."""
    handler = type("Handler", (_Clinics,), {})
    with ThreadingHTTPServer(("127.0.0.1", 0), handler) as server:
        thread = threading.Thread(target=server.serve_forever)
        thread.start()
        yield f"http://127.0.0.1:{server.server_address[1]}", handler
        server.shutdown()
        thread.join()


def test_empty_registry_and_the_demos_own_are_filled(registry: tuple[str, type[_Clinics]]) -> None:
    address, handler = registry
    people.refuse_foreign(address)
    handler.codes = ("harvenmouth", "sarrenalp")
    people.refuse_foreign(address)


def test_registry_with_a_foreign_clinic_is_refused_by_name(registry: tuple[str, type[_Clinics]]) -> None:
    address, handler = registry
    handler.codes = ("harvenmouth", "elsewhere")
    with pytest.raises(DemoError, match="elsewhere"):
        people.refuse_foreign(address)


def test_registry_that_hides_its_clinics_is_refused(registry: tuple[str, type[_Clinics]]) -> None:
    address, handler = registry
    handler.codes = None
    with pytest.raises(DemoError, match="signed-in"):
        people.refuse_foreign(address)


def test_tokens_are_kept_for_their_owner_only(tmp_path: Path) -> None:
    path = tmp_path / "tokens.json"
    people._keep(path, {"harvenmouth/heron": "t", "stranger/x": "u"})
    assert path.stat().st_mode & 0o777 == 0o600
    assert people._kept(path) == {"harvenmouth/heron": "t"}


def test_damaged_token_file_counts_as_none(tmp_path: Path) -> None:
    path = tmp_path / "tokens.json"
    path.write_text("{")
    assert people._kept(path) == {}


def test_one_operator_a_clinic_and_two_curators() -> None:
    everyone = people.people()
    assert len({person.key for person in everyone}) == len(everyone)
    assert [person.key for person in everyone if person.curator] == [
        "harvenmouth/sedge",
        "lissendale/dipper",
    ]


def test_manifests_are_read_back_as_they_were_meant(recordings: tuple[Recording, ...]) -> None:
    manifests = write_files(recordings)
    rows = [row for path in manifests.values() for row in manifest.read(path)]
    said = {row.file.name: row.provenance for row in rows}
    assert said == {r.file_name: r.planned.provenance() for r in recordings}
    assert {row.file.read_bytes() for row in rows} == {r.data for r in recordings}


def _outcomes(recordings: tuple[Recording, ...]) -> dict[str, list[Outcome]]:
    made: dict[str, list[Outcome]] = {}
    for recording in recordings:
        meant = recording.planned.expected
        state = None if meant == "refused" else meant
        outcome = Outcome(Row(Path(recording.file_name), {}), meant, state)
        made.setdefault(recording.planned.clinic.code, []).append(outcome)
    return made


def test_outcomes_as_meant_bring_no_complaint(
    recordings: tuple[Recording, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    assert show_outcomes(_outcomes(recordings), recordings) == []
    assert capsys.readouterr().out.count("held.") == 4


def test_an_outcome_other_than_meant_is_named(recordings: tuple[Recording, ...]) -> None:
    outcomes = _outcomes(recordings)
    first = recordings[0]
    held = Outcome(Row(Path(first.file_name), {}), "held", "held")
    outcomes[first.planned.clinic.code][0] = held
    (complaint,) = show_outcomes(outcomes, recordings)
    assert first.file_name in complaint


def _span(first: str, last: str, revision: str | None, basis: str = "inferred", **more: bool) -> truth.Json:
    return {"first": first, "last": last, "revision": revision, "basis": basis, **more}


@pytest.mark.parametrize(
    ("span", "wrong"),
    [
        (_span("KV000001", "KV005199", "A"), False),
        (_span("KV000001", "KV005200", "A"), True),
        (_span("KV005199", "KV006000", "B"), True),
        (_span("KV000001", "KV005200", "A", last_excluded=True), False),
        (_span("KV005199", "KV006000", "B", first_excluded=True), False),
        (_span("KV004000", "KV006000", None, "unknown"), False),
        (_span("MR000100", "MR000200", "B"), False),
        (_span("MR000100", "MR000200", "A"), True),
    ],
)
def test_span_is_held_against_what_was_built(span: truth.Json, *, wrong: bool) -> None:
    assert bool(truth.wrong_spans("Pellomi", {"spans": [span]})) is wrong


def test_missing_bases_are_named() -> None:
    document = {"spans": [_span("KV000001", "KV000002", "A", "declared")]}
    assert truth.missing_bases(document, ("declared", "unknown")) == ["no span is unknown"]


def test_agreement_compares_accepted_runs_by_digest(recordings: tuple[Recording, ...]) -> None:
    import hashlib  # noqa: PLC0415 - only this test makes digests

    some = next(r for r in recordings if r.truth is not None and r.planned.gauge == "HM-1")
    assert some.truth is not None
    run = {
        "digest": hashlib.sha256(some.data).hexdigest(),
        "state": "accepted",
        "gauge": "HM-1",
        "measurements": {
            "cycle_rate": {"value": 1.01 * some.truth.cycle_rate},
            "peak_vacuum": {"value": 0.98 * some.truth.peak_vacuum},
        },
    }
    (row,) = truth.agreement(recordings, [run, run | {"state": "held"}, run | {"digest": "unknown"}])
    assert (row.gauge, row.runs) == ("HM-1", 1)
    assert (row.rate_percent, row.peak_percent) == pytest.approx((1.0, -2.0))


def test_settled_alerts_do_not_count() -> None:
    alert = {"subject": {"gauge": "quarrowick/QW-2"}, "state": "raised"}
    assert truth.alerted({"results": [alert]}, "gauge", "QW-2")
    assert not truth.alerted({"results": [alert | {"state": "settled"}]}, "gauge", "QW-2")
    assert not truth.alerted({"results": [alert]}, "unit", "QW-2")


def test_pairs_take_the_rig_with_the_most_units() -> None:
    cell = {"mode": "expression", "level": "3", "centre": 70.0}
    cells = [
        cell | {"revision": "A", "rig": "flat", "units": 11},
        cell | {"revision": "A", "rig": "domed", "units": 3},
        cell | {"revision": "B", "rig": "domed", "units": 16},
        cell | {"revision": "A", "rig": "flat", "units": 5, "level": "5"},
    ]
    ((key, both),) = pairs(cells, "A", "B")
    assert key == ("expression", "3")
    assert (both["A"]["rig"], both["B"]["rig"]) == ("flat", "domed")


def test_the_pump_to_identify_is_one_nobody_looked_at() -> None:
    traces = ask.traces_of_a_stranger([Recording(run, b"", None) for run in planned_runs()])
    assert [trace.planned.setting.level for trace in traces] == [3, 4]
    assert len({trace.planned.unit.serial for trace in traces}) == 1
    assert not any(trace.planned.provenance().get("revision") for trace in traces)
    assert set(ask.IDENTIFYING) - {"zero_offset"} <= set(traces[0].planned.provenance())


FEED = """<?xml version="1.0"?><feed xmlns="http://www.w3.org/2005/Atom"><title>Alerts</title>
<entry><title>Raised: Gauge quarrowick/QW-2 reads 7.8 % high</title></entry></feed>"""


def _explained(outcome: str) -> truth.Json:
    return {"rules": [{"subject": {"gauge": "quarrowick/QW-2"}, "outcome": outcome}]}


@pytest.mark.parametrize(
    ("entries", "outcome", "complaints"),
    [
        (told.titles(FEED), "alert", 0),
        ([], "alert", 1),
        (told.titles(FEED.replace("QW-2", "QW-1")), "alert", 1),
        (told.titles(FEED), "nothing stands out", 1),
    ],
)
def test_the_feed_and_the_explanation_have_to_name_the_gauge(
    entries: list[str], outcome: str, complaints: int
) -> None:
    assert len(told.not_told(entries, _explained(outcome), "quarrowick/QW-2")) == complaints


def test_a_correction_has_to_move_the_units_that_nobody_looked_at() -> None:
    strangers = correct.strangers()
    moved = {"was": None, "now": "A", "units": len(strangers)}
    assert {unit.revision for unit in strangers} == {"A"}
    assert correct.not_moved({"units": [moved]}, strangers) == []
    for wrong in ([], [{**moved, "now": "B"}], [{**moved, "units": 1 + len(strangers)}]):
        assert correct.not_moved({"units": wrong}, strangers)


def test_the_correction_adds_to_what_the_catalogue_declares() -> None:
    (corrected,) = tomllib.loads(correct.CORRECTION.read_text())["pump_model"]
    (revision,) = corrected["revision"]
    declared = next(r for r in catalogue()[correct.MODEL]["revision"] if r["label"] == revision["label"])
    assert {**revision, "span": []} == {**declared, "span": []}, "what a file leaves out it would take away"
    kept, added = revision["span"]
    assert [kept] == declared["span"]
    assert (added["first"], added["last"]) == correct.NEWLY_DECLARED

"""What each command sends, and that its answer is the server's document and nothing else on stdout."""

import pytest

from tests.client_cli import compared, documents
from tests.client_cli.benched import BENCHES
from tests.client_cli.documents import MODEL
from tests.client_cli.server import Trouble, measured


@pytest.mark.parametrize(
    ("arguments", "document"),
    [
        (["health"], {"status": "ok", "version": "0.1.0", "clients": ">=0.1,<1"}),
        (["measure", "TRACE"], measured()),
        (["serial", "Pellomi", "LK000001", "LK009999"], documents.SERIALS),
        (["distribution", "Pellomi"], documents.DISTRIBUTION),
        (["compare", "Pellomi", "A", "B"], compared.COMPARISON),
        (["settings", "Pellomi", "--rate", "70.."], compared.SETTINGS),
        (["claims", "Pellomi"], compared.CLAIMS),
        (["benches", "--all"], BENCHES),
        (["swap", "Pellomi", "A", "B", "--part", "protector"], compared.SWAP),
        (["runs"], documents.RUNS),
        (["run", "7"], documents.RUN),
        (["run", "7", "--edition", "2", "--parts"], documents.RUN),
        (["cycles", "7"], documents.CYCLES),
        (["withdraw", "7", "--reason", "leak"], {**documents.RUN, "state": "withdrawn"}),
        (["alerts"], documents.ALERTS),
        (["catalogue", "load", "CATALOGUE"], documents.CHANGES),
        (["catalogue", "show", "Pellomi"], MODEL),
        (["catalogue", "list"], {"results": [MODEL], "next": None}),
        (["gauge", "list"], {"results": [documents.GAUGE], "next": None}),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, list) else "",
)
def test_json_prints_the_server_s_document_alone(vacuary, filled, trace, catalogue, arguments, document):
    files = {"TRACE": str(trace), "CATALOGUE": str(catalogue)}
    ran = vacuary(*(files.get(argument, argument) for argument in arguments), "--json")
    assert ran.json == document
    assert ran.err == ""
    before = vacuary("--json", *(files.get(argument, argument) for argument in arguments))
    assert before.json == document


def test_json_stays_json_while_the_server_is_asked_again(vacuary, filled):
    filled.troubles = [Trouble(status=503), Trouble(cut="midway")]
    ran = vacuary("runs", "--json")
    assert ran.json == documents.RUNS
    assert "Trying again" in ran.err


def test_serial_and_distribution_ask_with_the_words_of_the_contract(vacuary, filled):
    vacuary("serial", "Pellomi", "LK000001")
    vacuary("serial", "Pellomi", "LK000001", "LK000009")
    vacuary("distribution", "Pellomi", "--revision", "A", "--mode", "expression", "--level", "5")
    vacuary("distribution", "Pellomi", "--metric", "peak_vacuum", "--rig", documents.LONG_RIG)
    vacuary("distribution", "Pellomi", "--programme", "soft", "--power", "mains")
    assert [asked.query for asked in filled.asked] == [
        {"model": "Pellomi", "first": "LK000001"},
        {"model": "Pellomi", "first": "LK000001", "last": "LK000009"},
        {"model": "Pellomi", "revision": "A", "mode": "expression", "level": "5"},
        {"model": "Pellomi", "metric": "peak_vacuum", "rig": documents.LONG_RIG},
        {"model": "Pellomi", "programme": "soft", "power": "mains"},
    ]


@pytest.mark.parametrize(
    "arguments",
    [
        ["distribution", "Pellomi"],
        ["compare", "Pellomi", "A", "B"],
        ["swap", "Pellomi", "A", "B", "--part", "protector"],
        ["settings", "Pellomi", "--rate", "70.."],
        ["claims", "Pellomi"],
        ["benches"],
    ],
    ids=lambda words: words[0],
)
def test_every_answer_can_be_asked_of_a_past_time_and_another_edition(vacuary, filled, arguments):
    assert vacuary(*arguments, "--as-of", "2026-03-01T12:00Z", "--edition", "2").code == 0
    asked = filled.asked[-1].query
    assert (asked["as_of"], asked["edition"]) == ("2026-03-01T12:00Z", "2")


def test_a_run_is_asked_for_under_an_edition(vacuary, filled):
    vacuary("run", "7", "--edition", "2")
    vacuary("cycles", "7", "--edition", "2")
    assert [asked.query.get("edition") for asked in filled.asked] == ["2", "2"]


def test_cycles_show_which_are_lost(vacuary, filled):
    rows = [line.split() for line in vacuary("cycles", "7").out.splitlines()]
    assert ["1", "2.03", "1.150", "231.3", "20.0", "0.610"] in rows
    assert ["2", "3.18", "-", "-", "-", "-", "missing"] in rows
    filled.answers["GET", "runs/7/cycles"] = (200, {**documents.CYCLES, "results": []})
    assert "No cycle" in vacuary("cycles", "7").out


def test_runs_ask_with_their_filters(vacuary, filled):
    vacuary("runs", "--model", "Pellomi", "--state", "held", "--mine", "--limit", "3")
    assert filled.asked[0].query == {"model": "Pellomi", "state": "held", "mine": "true", "page_size": "3"}


def test_a_gauge_is_declared_in_the_words_given(vacuary, filled):
    ran = vacuary(
        *("gauge", "declare", "G1", "--gauge-model", "bench logger", "--range", "-60..0 kPa"),
        *("--resolution", "0.1 kPa", "--accuracy", "1 % reading"),
        *("--calibration", "on=2026-02-01, offset=-0,3, gain=1.002, uncertainty=0.4, source=lab, sheet 2"),
        *("--calibration", "on=2026-03-01,uncertainty=0.4,source=lab"),
    )
    assert ran.code == 0
    assert filled.asked[0].json == {
        "gauge_model": "bench logger",
        "range": "-60..0 kPa",
        "resolution": "0.1 kPa",
        "accuracy": "1 % reading",
        "calibrations": [
            {
                "on": "2026-02-01",
                "offset": -0.3,
                "gain": 1.002,
                "uncertainty": 0.4,
                "source": "lab, sheet 2",
            },
            {"on": "2026-03-01", "uncertainty": 0.4, "source": "lab"},
        ],
    }


@pytest.mark.parametrize("text", ["", "yesterday", "on=", "bias=3"])
def test_a_calibration_that_is_not_understood_is_said_so(vacuary, filled, text):
    ran = vacuary(
        *("gauge", "declare", "G1", "--gauge-model", "x", "--range", "0..400 mmHg"),
        *("--resolution", "1 mmHg", "--accuracy", "2 mmHg", "--calibration", text),
    )
    assert ran.code == 2
    assert "--calibration" in ran.err
    assert filled.asked == []


def test_a_catalogue_goes_as_its_file_has_it(vacuary, filled, catalogue):
    vacuary("catalogue", "load", catalogue)
    assert filled.asked[0].json == {
        "pump_model": [
            {
                "maker": "Ostrevall",
                "name": "Pellomi",
                "revision": [{"label": "A", "order": 1, "seen": "2025-03-02"}],
            }
        ]
    }


@pytest.mark.parametrize(("text", "told"), [("[[pump_model]\n", "line 1"), ("a = 1\n", "[[pump_model]]")])
def test_a_catalogue_that_cannot_be_read_is_named(vacuary, filled, tmp_path, text, told):
    path = tmp_path / "broken.toml"
    path.write_text(text)
    ran = vacuary("catalogue", "load", path)
    assert ran.code == 2
    assert "broken.toml" in ran.err.replace("\n", "")
    assert told in " ".join(ran.err.split())
    assert filled.asked == []


def test_a_model_that_is_not_in_the_catalogue_is_answered_with_the_nearest(vacuary, filled):
    def pump_models(asked):
        names = ("Pellomi", "Tivanne")
        rows = [{"id": 1, "name": name} for name in names if asked.query.get("name", name) == name]
        return 200, {"results": rows, "next": None}

    filled.answers["GET", "pump-models"] = pump_models
    ran = vacuary("catalogue", "show", "Pelommi")
    assert ran.code == 3
    assert "Nearest names: Pellomi" in ran.err


def test_withdraw_is_sent_once_with_its_reason(vacuary, filled):
    vacuary("withdraw", "7", "--reason", "leak at the valve")
    assert filled.asked[0].json == {"reason": "leak at the valve"}

"""What people see: 80 columns, nothing clipped, plain words first, nothing that moves the cursor."""

import io
import re

import pytest
from rich.cells import cell_len

from client_cli.errors import Problem, Refused
from client_cli.manifest import ListProblem, ManifestError, Row
from client_cli.render import alerts, catalogue, distributions, errors, gauges, runs, serials, uploads
from client_cli.render.console import console_on
from client_cli.upload import Outcome
from tests.client_cli import documents
from tests.client_cli.server import measured

LONG_REASON = (
    "The vacuum column holds absolute pressures and relative ones in turns, so that neither reading can be "
    "trusted; export the recording again as relative vacuum and say the unit in the heading."
)


def seen(show, *arguments, width=80, encoding="utf-8"):
    """What a terminal of this width would show."""
    stream = io.TextIOWrapper(io.BytesIO(), encoding=encoding, newline="")
    console = console_on(stream, width)
    show(console, *arguments)
    stream.flush()
    return stream.buffer.getvalue().decode(encoding)


def fits(text, width=80):
    """Assert that no line is too long and nothing was cut short."""
    assert all(cell_len(line) <= width for line in text.splitlines())
    assert "…" not in text
    assert "\x1b" not in text
    assert not [line for line in text.splitlines() if line != line.rstrip()]
    return text


def words(text):
    """The text without the line breaks and gaps that folding put in."""
    return re.sub(r"\s+", "", text)


SHOWN = {
    "serials": (serials.show_serials, documents.SERIALS),
    "distribution": (distributions.show_distribution, documents.DISTRIBUTION),
    "run": (runs.show_run, documents.RUN),
    "runs": (runs.show_runs, documents.RUNS),
    "alerts": (alerts.show_alerts, documents.ALERTS),
    "model": (catalogue.show_model, documents.MODEL),
    "models": (catalogue.show_models, {"results": [documents.MODEL]}),
    "changes": (catalogue.show_changes, documents.CHANGES),
    "gauges": (gauges.show_gauges, {"results": [documents.GAUGE]}),
    "measured": (lambda console, answer: runs.show_measured(console, answer, "a.csv"), measured("held")),
}


@pytest.mark.parametrize("width", [80, 100, 200])
@pytest.mark.parametrize("name", SHOWN)
def test_every_answer_fits(name, width):
    fits(seen(*SHOWN[name], width=width), width)


@pytest.mark.parametrize("name", SHOWN)
def test_a_terminal_with_few_letters_gets_all_the_words(name):
    plain, full = seen(*SHOWN[name], encoding="ascii"), seen(*SHOWN[name])
    assert re.findall(r"\w+", plain) == re.findall(r"\w+", full)


@pytest.mark.parametrize("document", [documents.SERIALS, documents.DISTRIBUTION])
def test_plain_words_come_first_and_cautions_last(document):
    show = serials.show_serials if "spans" in document else distributions.show_distribution
    shown = " ".join(seen(show, document).split())
    assert shown.startswith(document["says"])
    assert f"Caution: {documents.CAUTION}" in shown
    assert shown.index("Caution:") > shown.index("LK005500" if "spans" in document else "peak_vacuum")


def test_a_distribution_shows_counts_centre_spread_and_quantiles():
    shown = seen(distributions.show_distribution, documents.DISTRIBUTION)
    for text in (
        "120 runs",
        "12 units",
        "3 clinics",
        "231.2",
        "228.3 to 234.1",
        "next 220.8 to 241.6",
        "repeat 1.2",
        "unit 3.4",
        "clinic 2.3",
        "anywhere 4.3",
        "10 % 226.8",
        "50 % 231.3",
        "90 % 235.8",
    ):
        assert text in shown
    assert documents.LONG_RIG in " ".join(shown.split())


def test_a_thin_cell_says_so_and_invents_no_interval():
    thin = documents.DISTRIBUTION["cells"][-1]
    shown = seen(distributions.show_distribution, {"cells": [thin]})
    assert "thin" in shown
    assert "no interval" in shown
    assert "1 unit" in shown
    assert "unit -" in shown
    assert "Revision not known" in shown


def test_an_empty_answer_says_what_the_server_says():
    shown = seen(distributions.show_distribution, {"cells": [], "says": "Nobody measured that yet."})
    assert shown.strip() == "Nobody measured that yet."


def test_text_of_others_is_shown_as_text():
    shown = seen(runs.show_run, documents.RUN)
    assert "[bold]zeroed[/bold] twice and back" in shown
    assert "\u202e" not in shown


def outcome(number, word, state=None, **more):
    row = Row(f"/traces/{number}.csv", {}, number, f"a/rather/long/folder/of/the/morning/sweep-{number}.csv")
    return Outcome(row, word, state, number, **more)


def test_the_table_of_an_upload_wraps_reasons_and_clips_none():
    problem = Problem(
        422,
        "unreadable_trace",
        LONG_REASON,
        "Do this.",
        errors=({"line": 7, "message": LONG_REASON[::-1]}, {"field": "level", "message": "is not known"}),
        nearest=("Pellomi", "Tivanne"),
    )
    leak = {"severity": "hold", "message": LONG_REASON, "hint": "Zero it."}
    found = [
        outcome(2, "accepted", "accepted"),
        outcome(3, "held", "held", findings=(leak,)),
        outcome(4, "refused", problem=problem),
        outcome(5, "same", "withdrawn"),
        outcome(1234567, "same", "held", skipped=True),
    ]
    shown = fits(seen(uploads.show_outcomes, found))
    flat = " ".join(shown.split())
    assert shown.strip().endswith("1 accepted, 1 held, 1 refused, 2 already there.")
    start = shown.splitlines()[0].index("Why")
    column = words("".join(line[start:] for line in shown.splitlines()))
    assert column.count(words(LONG_REASON)) == 2
    assert column.count(words(LONG_REASON[::-1])) == 1
    for text in ("line 7:", "level: is not known", "Do this.", "Zero it.", "1234567"):
        assert text in flat


@pytest.mark.parametrize(
    ("error", "told"),
    [
        ({"field": "trace", "message": "No column holds a vacuum."}, []),
        ({"field": "flange_mm", "message": "must be a number"}, ["flange_mm: must be a number"]),
        ({"field": "pump_model", "message": "No column holds a vacuum."}, ["pump_model"]),
        ({"field": "column", "message": "No column holds a vacuum."}, []),
        ({"line": 7, "message": "No column holds a vacuum."}, ["line 7"]),
    ],
)
def test_a_place_that_says_nothing_is_left_out(error, told):
    problem = Problem(
        422, "unreadable_trace", "No column holds a vacuum.", "Export it again.", errors=(error,)
    )
    assert list(errors.details(problem)) == told


def test_a_refused_trace_is_told_in_two_lines():
    problem = Problem(
        422,
        "unreadable_trace",
        "No column holds a vacuum.",
        "Export it again.",
        errors=({"field": "trace", "message": "No column holds a vacuum."},),
    )
    shown = seen(uploads.show_outcomes, [outcome(2, "refused", problem=problem)], width=200)
    start = shown.splitlines()[0].index("Why")
    reasons = [line[start:].strip() for line in shown.splitlines()[2:]]
    assert reasons[:3] == ["No column holds a vacuum.", "Export it again.", ""]


def test_a_long_upload_lists_only_what_needs_looking_at():
    found = [outcome(number, "accepted", "accepted") for number in range(2, 500)]
    found.append(outcome(500, "held", "held", findings=({"severity": "hold", "message": "A leak."},)))
    shown = fits(seen(uploads.show_outcomes, found))
    assert len(shown.splitlines()) < 15
    assert "A leak." in shown
    assert "498 accepted, 1 held." in shown
    assert "--json" in shown


def test_a_reason_that_many_rows_share_is_told_once():
    leak = {"severity": "hold", "message": "The rig leaks.", "hint": "Tighten it."}
    found = [outcome(number, "held", "held", findings=(leak,)) for number in (2, 3, 4)]
    shown = seen(uploads.show_outcomes, found)
    assert shown.count("The rig leaks.") == 1
    assert shown.count("as line 2") == 2


def test_a_caution_is_told_once_with_the_lines_it_concerns():
    def noted(number, lost):
        caution = {
            "code": "lost",
            "severity": "caution",
            "message": f"Lost {lost}.",
            "hint": "Look there.",
        }
        return outcome(number, "accepted", "accepted", findings=(caution, {"code": "x", "severity": "note"}))

    found = [noted(2, 1), noted(3, 2), outcome(4, "accepted", "accepted"), noted(5, 1)]
    shown = fits(seen(uploads.show_outcomes, found))
    assert "lines 2 to 3, 5" in shown
    assert "for example: Lost 1." in shown
    assert shown.count("Look there.") == 1
    assert "for example" not in seen(uploads.show_outcomes, [noted(2, 1), noted(3, 1)])


def test_runs_without_a_list_are_named_by_their_files():
    caution = {"code": "lost", "severity": "caution", "message": "Lost one."}
    found = [
        Outcome(Row(f"{name}.csv", {}), "accepted", "accepted", 1, findings=(caution,)) for name in "abcd"
    ]
    assert "a.csv, b.csv" in seen(uploads.show_outcomes, found[:2])
    assert "4 runs" in seen(uploads.show_outcomes, found)


def test_what_the_detail_said_already_is_not_said_again():
    problem = Problem(
        422, "invalid", "level: is empty", "", errors=({"field": "level", "message": "is empty"},)
    )
    assert seen(errors.show_error, Refused(problem.detail, "", problem)).count("is empty") == 1


def test_the_request_is_named_where_somebody_must_look_into_it():
    for status, shown in ((500, 1), (422, 0)):
        problem = Problem(status, "fault", "It failed.", request_id="abc123")
        assert seen(errors.show_error, Refused("It failed.", "", problem)).count("abc123") == shown
        failed = seen(uploads.show_outcomes, [outcome(2, "failed", problem=problem)])
        assert failed.count("abc123") == shown


def test_an_upload_of_nothing_says_so():
    assert seen(uploads.show_outcomes, []).strip() == "Nothing to send."


def test_errors_name_the_place_and_what_to_do():
    problem = Problem(
        422,
        "invalid",
        "Two fields are wrong.",
        "Correct them.",
        errors=({"field": "level", "message": LONG_REASON}, {"line": 3, "message": "no number"}),
        nearest=("Pellomi",),
    )
    shown = fits(seen(errors.show_error, Refused(problem.detail, problem.hint, problem)))
    assert shown.startswith("Error (invalid): Two fields are wrong.")
    for text in ("line 3: no number", "Nearest names: Pellomi", "What to do: Correct them."):
        assert text in shown


def test_every_problem_of_a_list_is_shown(tmp_path):
    listed = [ListProblem(9, LONG_REASON), ListProblem(2, "serial is empty")]
    shown = fits(seen(errors.show_error, ManifestError(tmp_path / "list.csv", listed)))
    assert shown.index("line 2: serial is empty") < shown.index("line 9: ")


def test_times_are_shown_to_the_minute():
    assert runs.moment("2026-03-01T09:30:00+01:00") == "2026-03-01\n09:30"
    assert runs.moment(None) == "-"
    assert runs.moment("last spring") == "last spring"

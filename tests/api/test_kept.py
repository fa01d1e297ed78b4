"""What is kept of a run under each edition: cycles, uncertainty parts, and the edition itself."""

import math

import pytest
from django.core.files.storage import storages

from registry.intake.remeasuring.completing import complete, lacking
from registry.intake.remeasuring.portions import remeasure
from registry.intake.remeasuring.rows import bring_edition
from registry.intake.remeasuring.switch import switch
from registry.models import Run, RunDetails, Trace
from registry.waveform import editions, measure
from tests.api.test_readings import upload
from tests.editions import both, uneven_trace
from tests.traces import trace_bytes

pytestmark = pytest.mark.django_db
ALL = (1, 10**9)
FLAT = b"time (s),vacuum (mmHg)\n" + b"".join(b"%.1f,1.0\n" % (n / 10) for n in range(200))


@pytest.fixture
def second_edition(monkeypatch):
    """Let this process know the second edition."""
    monkeypatch.setattr(editions, "EDITIONS", both())
    bring_edition(2)


def lossy_trace():
    """A trace in which the pump misses two cycles."""
    lines = trace_bytes().decode().splitlines()
    for second in (10, 18):
        for place in range(1 + 50 * second, 1 + 50 * second + 50):
            time, _ = lines[place].split(",")
            lines[place] = f"{time},20.{place % 10}"
    return "\n".join(lines).encode()


def test_cycles_are_kept_and_open_to_all(operator, stranger):
    data = lossy_trace()
    run = upload(operator, data).json()
    storages["traces"].delete(Trace.objects.get().storage_name)  # nothing is measured again
    document = stranger.get(f"/api/v1/runs/{run['id']}/cycles").json()
    truth = measure(data).cycles
    assert (document["run"], document["edition"], document["next"]) == (run["id"], 1, None)
    assert document["count"] == len(document["results"]) == len(truth)
    assert [cycle["number"] for cycle in document["results"]] == list(range(1, len(truth) + 1))
    lost = [(round(cycle["start_s"]), cycle["loss"]) for cycle in document["results"] if cycle["loss"]]
    assert lost == [(10, "missing"), (18, "missing")]
    for name in ("start_s", "period_s", "peak_mmhg", "residual_mmhg", "duty"):
        kept = [math.nan if cycle[name] is None else cycle[name] for cycle in document["results"]]
        assert kept == pytest.approx(getattr(truth, name).tolist(), abs=1e-6, nan_ok=True)


def test_cycles_come_in_pages(operator):
    run = upload(operator, trace_bytes()).json()
    whole = operator.get(f"/api/v1/runs/{run['id']}/cycles").json()["results"]
    found, page = [], f"/api/v1/runs/{run['id']}/cycles?page_size=10&edition=1"
    while page:
        document = operator.get(page).json()
        found += document["results"]
        page = document["next"]
    assert found == whole
    assert operator.get(f"/api/v1/runs/{run['id']}/cycles?page_size=501").status_code == 422
    assert operator.get(f"/api/v1/runs/{run['id']}/cycles?cursor=-1").status_code == 422
    assert operator.get(f"/api/v1/runs/{run['id']}/cycles?cursor=5000").json()["results"] == []


def test_a_run_without_cycles_has_none(operator):
    run = upload(operator, FLAT).json()
    document = operator.get(f"/api/v1/runs/{run['id']}/cycles").json()
    assert (document["count"], document["results"]) == (0, [])


def test_cycles_are_looked_up_with_few_queries(operator, django_assert_num_queries):
    run = upload(operator, trace_bytes()).json()
    with django_assert_num_queries(4):  # who asks, which edition, which run, its cycles
        operator.get(f"/api/v1/runs/{run['id']}/cycles")


def test_the_parts_make_up_the_uncertainty(operator):
    run = upload(operator, trace_bytes()).json()
    for quantity in run["measurements"].values():
        parts = quantity["parts"]
        assert math.hypot(*parts.values()) == pytest.approx(quantity["uncertainty"])
        random = math.hypot(*(parts.get(name, 0.0) for name in ("sampling", "scatter")))
        assert random == pytest.approx(quantity["u_random"])
    assert run["measurements"]["peak_vacuum"]["parts"].keys() >= {"accuracy", "sampling"}
    assert operator.get(f"/api/v1/runs/{run['id']}").json()["measurements"] == run["measurements"]


def test_a_run_is_shown_under_either_edition(operator, second_edition):
    run = upload(operator, uneven_trace()).json()
    address = f"/api/v1/runs/{run['id']}"
    assert operator.get(f"{address}?edition=1").json() == operator.get(address).json() == run
    absent = operator.get(f"{address}?edition=2")
    assert (absent.status_code, absent.json()["code"]) == (404, "not_measured")
    assert "remeasure --edition 2" in absent.json()["hint"]
    assert operator.get(f"{address}/cycles?edition=2").json()["code"] == "not_measured"
    remeasure(2, *ALL)
    second = operator.get(f"{address}?edition=2").json()
    assert (second["edition"], second["state"]) == (2, "held")
    assert operator.get(f"{address}/cycles?edition=2").json()["edition"] == 2
    switch(2)
    assert operator.get(address).json() == operator.get(f"{address}?edition=2").json()
    assert operator.get(f"{address}?edition=1").json()["measurements"] == run["measurements"]
    assert operator.get(f"{address}/cycles").json()["edition"] == 2
    assert operator.get(f"{address}/cycles?edition=1").json()["count"] > 0


def test_an_edition_nobody_knows_is_said(operator):
    run = upload(operator, trace_bytes()).json()
    for what in ("", "/cycles"):
        answer = operator.get(f"/api/v1/runs/{run['id']}{what}?edition=7")
        assert (answer.status_code, answer.json()["code"]) == (404, "unknown_edition")
        assert answer.json()["editions"] == [1]
        assert operator.get(f"/api/v1/runs/{run['id']}{what}?edition=x").status_code == 422


def test_editions_tell_what_they_define(stranger, second_edition):
    listed = stranger.get("/api/v1/editions?page_size=1").json()
    (first,) = listed["results"]
    assert (first["number"], first["is_current"]) == (1, True)
    assert {metric["name"]: metric["unit"] for metric in first["metrics"]}["pull_time"] == "s"
    assert all(metric["definition"] for metric in first["metrics"])
    assert [edition["number"] for edition in stranger.get(listed["next"]).json()["results"]] == [2]
    assert stranger.get("/api/v1/editions/2").json()["is_current"] is False
    assert stranger.get("/api/v1/editions/3").json()["code"] == "not_found"


def test_runs_from_before_cycles_were_kept_are_completed(operator):
    run = upload(operator, trace_bytes()).json()
    flat = upload(operator, FLAT, level=4).json()
    kept = dict(RunDetails.objects.values_list("run", "cycles"))
    RunDetails.objects.all().delete()
    answer = operator.get(f"/api/v1/runs/{run['id']}/cycles").json()
    assert (answer["code"], answer["reason"]) == ("not_measured", "not_kept")
    assert "remeasure --edition 1" in answer["hint"]
    assert lacking(1).count() == 2
    assert complete(1) == 2
    assert dict(RunDetails.objects.values_list("run", "cycles")) == kept
    assert set(kept) == {run["id"], flat["id"]}
    assert complete(1) == 0


def test_a_run_whose_trace_is_lost_stays_incomplete_and_keeps_no_other_waiting(operator, caplog):
    lost = upload(operator, trace_bytes()).json()
    upload(operator, trace_bytes(seed=2))
    RunDetails.objects.all().delete()
    storages["traces"].delete(Run.objects.get(pk=lost["id"]).trace.storage_name)
    assert complete(1) == 1
    assert [run.pk for run in lacking(1)] == [lost["id"]]
    assert "is lost" in caplog.text

"""Both sides of a double pump: one file, two runs, and how unlike they pull."""

import json

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from api.shown import shown
from registry.intake.measure import measure_again
from registry.models import Run
from tests.declared import provenance
from tests.traces import trace_bytes, two_sided_bytes

pytestmark = pytest.mark.django_db
TWO = two_sided_bytes()


def _channels_named():
    return TWO.replace(b"left (mmHg)", b"CH1 (mmHg)").replace(b"right (mmHg)", b"CH2 (mmHg)")


def post(client, url, data=TWO, **said):
    form = {"trace": SimpleUploadedFile("trace.csv", data), "provenance": json.dumps(said)}
    return client.post(f"/api/v1/{url}", form, format="multipart")


def upload(client, data=TWO, **changes):
    return post(client, "runs", data, **provenance(**changes))


def test_measuring_shows_both_sides_and_their_imbalance(stranger):
    found = post(stranger, "measure").json()
    assert found["channels"] == [
        {"side": "left", "column": "left (mmHg)", "unit": "mmHg"},
        {"side": "right", "column": "right (mmHg)", "unit": "mmHg"},
    ]
    left, right = found["sides"]["left"], found["sides"]["right"]
    assert {key: found[key] for key in left} == left
    peaks = [side["measurements"]["peak_vacuum"]["value"] for side in (left, right)]
    assert peaks == [pytest.approx(200, abs=1), pytest.approx(180, abs=1)]
    gap = found["imbalance"]["peak_vacuum"]
    assert gap["value"] == pytest.approx(peaks[0] - peaks[1])
    assert gap["shown"] == shown(gap["value"], gap["uncertainty"])
    assert found["imbalance"]["phase"]["value"] == pytest.approx(0.2, abs=0.02)
    alone = post(stranger, "measure", side="right").json()
    assert "sides" not in alone
    assert alone["measurements"] == right["measurements"]


def test_an_upload_has_to_say_which_side(operator):
    answer = upload(operator)
    problem = answer.json()
    assert (answer.status_code, problem["code"]) == (422, "side_needed")
    assert problem["errors"][0]["field"] == "side"
    assert "left (mmHg)" in problem["detail"]
    assert "right (mmHg)" in problem["detail"]
    assert upload(operator, trace_bytes()).json()["side"] == "single"
    assert Run.objects.count() == 1


def test_the_second_side_brings_the_imbalance_to_both(operator, stranger):
    left = upload(operator, side="left").json()
    assert left["state"] == "accepted"
    assert "imbalance" not in left
    right = upload(operator, side="right").json()
    assert right["state"] == "accepted"
    assert right["other_side"] == {"id": left["id"], "side": "left", "state": "accepted"}
    seen = stranger.get(f"/api/v1/runs/{left['id']}").json()
    assert seen["other_side"]["id"] == right["id"]
    assert seen["imbalance"] == right["imbalance"]
    gap = left["measurements"]["peak_vacuum"]["value"] - right["measurements"]["peak_vacuum"]["value"]
    assert seen["imbalance"]["peak_vacuum"]["value"] == pytest.approx(gap)
    assert operator.get(f"/api/v1/runs/{right['id']}").json() == right
    assert upload(operator, side="right").status_code == 200
    previewed = post(operator, "measure", **provenance()).json()
    assert previewed["imbalance"] == right["imbalance"]
    assert previewed["state"] == "accepted"


def test_only_the_same_pump_s_other_side_counts(operator, neighbour):
    left = upload(operator, side="left").json()
    others = [
        upload(operator, side="right", serial="LK000777"),
        upload(neighbour, side="right"),
        upload(operator, two_sided_bytes(seed=5), side="right"),
    ]
    assert [answer.status_code for answer in others] == [201] * 3
    assert "imbalance" not in operator.get(f"/api/v1/runs/{left['id']}").json()


def test_a_withdrawn_side_takes_the_imbalance_with_it(operator):
    left, right = (upload(operator, side=side).json() for side in ("left", "right"))
    operator.post(f"/api/v1/runs/{right['id']}/withdraw", {"reason": "wrong cup"}, format="json")
    assert "imbalance" not in operator.get(f"/api/v1/runs/{left['id']}").json()


def test_sides_of_single_recordings_have_none(operator):
    for side in ("left", "right"):
        assert "imbalance" not in upload(operator, trace_bytes(seed=3), side=side).json()


def test_columns_told_apart_only_by_what_was_said_have_one_too(operator, stranger):
    named = _channels_named()
    left = upload(operator, named, side="left", vacuum_column="CH1 (mmHg)").json()
    assert "imbalance" not in left
    right = upload(operator, named, side="right", vacuum_column="CH2 (mmHg)").json()
    assert [left["state"], right["state"]] == ["accepted", "accepted"]
    asked = {side: upload(operator, side=side).json() for side in ("left", "right")}["right"]
    assert right["imbalance"] == asked["imbalance"]
    seen = stranger.get(f"/api/v1/runs/{left['id']}").json()
    assert (seen["imbalance"], seen["other_side"]["id"]) == (right["imbalance"], right["id"])
    operator.post(f"/api/v1/runs/{left['id']}/withdraw", {"reason": "wrong cup"}, format="json")
    assert "imbalance" not in operator.get(f"/api/v1/runs/{right['id']}").json()


def test_one_column_said_to_be_both_sides_has_none(operator):
    for side in ("left", "right"):
        run = upload(operator, side=side, vacuum_column="CH1 (mmHg)", data=_channels_named()).json()
    assert run["state"] == "held"
    assert "imbalance" not in run


def test_measured_again_it_comes_out_the_same(operator):
    data = _channels_named()
    upload(operator, data, side="right", vacuum_column="CH2 (mmHg)")
    left = upload(operator, data, side="left", vacuum_column="CH1 (mmHg)").json()
    run = Run.objects.get(pk=left["id"])
    taken = measure_again(run, left["edition"])
    assert taken.imbalance.keys() == left["imbalance"].keys()
    for metric, quantity in taken.imbalance.items():
        assert quantity.value == pytest.approx(left["imbalance"][metric]["value"])


def test_a_column_named_for_a_side_tells_it(operator):
    data = trace_bytes().replace(b"vacuum (mmHg)", b"left vacuum (mmHg)")
    assert upload(operator, data).json()["side"] == "left"
    assert upload(operator, vacuum_column="right (mmHg)").json()["side"] == "right"


def test_a_single_run_is_shown_with_as_many_queries_however_many_there_are(
    operator, django_assert_max_num_queries
):
    for level in (1, 2, 3):
        for side in ("left", "right"):
            upload(operator, two_sided_bytes(seed=level), side=side, level=level)
    address = f"/api/v1/runs/{Run.objects.last().pk}"
    with django_assert_max_num_queries(7):
        assert "imbalance" in operator.get(address).json()
    with django_assert_max_num_queries(7):
        operator.get("/api/v1/runs?page_size=500")

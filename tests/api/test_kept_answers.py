"""Kept answers over HTTP: always what would be worked out now, whatever was written."""

import gzip
import json
import random
from collections.abc import Callable
from copy import deepcopy
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.http import HttpResponse
from django.utils import timezone
from rest_framework.test import APIClient

from registry.answers.served import ahead as kept_ahead
from registry.answers.served import kept
from registry.answers.served.ahead import make_ahead
from registry.answers.served.questions import KINDS
from registry.intake.catalogue import load_catalogue
from registry.intake.gauges import declare_gauge
from registry.intake.receive import receive
from registry.intake.remeasuring.portions import remeasure
from registry.intake.remeasuring.rows import bring_edition
from registry.intake.remeasuring.switch import switch
from registry.intake.withdraw import withdraw
from registry.models import Claim, Clinic, Edition, KeptAnswer, PumpModel, Revision, Rig, Run, SerialSpan
from registry.waveform import editions
from tests import community
from tests.answers.asking import anew, but_for_when, over_http, questions
from tests.declared import CATALOGUE, GAUGE, MODEL, provenance
from tests.editions import both
from tests.traces import trace_bytes

pytestmark = pytest.mark.django_db
BEHIND_BACKS = (
    "UPDATE registry_unitsummary SET mean = mean + 1",
    "DELETE FROM registry_unitsummary WHERE level = '4'",
    "UPDATE registry_unit SET revision_id = NULL, revision_basis = 'unknown' WHERE key = 123",
    "UPDATE registry_finding SET code = 'x' || left(code, 30) WHERE severity = 'hold'",
    "UPDATE registry_benchsession SET elevation_m = elevation_m + 400",
    "UPDATE registry_run SET state = 'held' WHERE level = '3'",
)


class Writer:
    """Writes at random what answers rest on, by the ways people have and behind their backs."""

    def __init__(self, seed: int) -> None:
        self.chance = random.Random(seed)
        self.seed = 1000 * seed
        self.model = MODEL
        self.people = [community.operator(), community.operator("brackwater", "fennel")]
        self.curator = community.curator()

    def upload(self) -> None:
        self.seed += 1
        said = {
            "pump_model": self.model,
            "serial": self.chance.choice(["LK000123", "LK000124", "LK005001", "LK005002", "LK008500"]),
            "level": self.chance.choice([3, 4]),
            "protector": self.chance.choice(["flat", "deep"]),
            "elevation_m": self.chance.choice([None, 10, 900]),
            "zero_offset": self.chance.choice([None, 0]),
        }
        seconds = self.chance.choice([30, 30, 3])  # too short a trace is held
        who = self.chance.choice(self.people)
        receive(trace_bytes(seed=self.seed, seconds=seconds), provenance(**said), who)

    def withdraw(self) -> None:
        if run := Run.objects.exclude(state="withdrawn").order_by("?").first():
            withdraw(run.pk, self.curator, "typed wrong")

    def load(self) -> None:
        said = deepcopy(CATALOGUE)
        (model,) = said["pump_model"]
        model["name"] = self.model
        border = self.chance.choice([5000, 4000])
        older, newer = model["revision"]
        older["span"][0]["last"], newer["span"][0]["first"] = f"LK00{border - 1}", f"LK00{border}"
        model["claim"][0]["value"] = self.chance.choice([200.0, 250.0])
        load_catalogue(said, self.curator)

    def declare(self) -> None:
        accuracy = self.chance.choice(["0.5 % FS", "1 % FS"])
        declare_gauge("G1", {**GAUGE, "accuracy": accuracy}, self.chance.choice(self.people))

    def rename_model(self) -> None:
        self.model = self.chance.choice([MODEL, "Larkspur Three"])
        PumpModel.objects.update(name=self.model)

    def rename_clinic(self) -> None:
        code = self.chance.choice(["elmsworth", "elms"])
        Clinic.objects.filter(pk=self.people[0].clinic_id).update(code=code)

    def relabel(self) -> None:
        self.chance.choice([
            lambda: Revision.objects.filter(order=2).update(marks={"housing": self.chance.random()}),
            lambda: Rig.objects.update(tubing=self.chance.choice(["", "90 cm"])),
            lambda: Claim.objects.update(source=self.chance.choice(["leaflet", "box"])),
            lambda: SerialSpan.objects.update(source=self.chance.choice(["letter", "mail"])),
        ])()  # fmt: skip

    def behind_backs(self) -> None:
        """As a keeper might, with a statement of SQL."""
        with connection.cursor() as cursor:
            cursor.execute(self.chance.choice(BEHIND_BACKS))

    def switch(self) -> None:
        bring_edition(2)
        current = Edition.objects.get(is_current=True).number
        remeasure(3 - current, 1, 10**9)
        switch(3 - current)

    def write(self) -> str:
        kinds: list[Callable[[], None]] = [
            self.upload, self.upload, self.upload, self.withdraw, self.load, self.declare, self.rename_model,
            self.rename_clinic, self.relabel, self.behind_backs, self.switch,
        ]  # fmt: skip
        one = self.chance.choice(kinds)
        one()
        return one.__name__


def check(client: APIClient, kind: str, asked: dict[str, Any], clinic: Clinic | None, wrote: str) -> None:
    """What is told is what would be worked out now, and the same when it is asked again."""
    told = over_http(client, kind, asked)
    assert but_for_when(told) == but_for_when(anew(kind, asked, clinic)), (wrote, kind, asked)
    assert over_http(client, kind, asked) == told


@pytest.mark.parametrize("seed", range(2))
def test_an_answer_is_the_one_of_now_whatever_was_written(operator, stranger, monkeypatch, seed):
    monkeypatch.setattr(editions, "EDITIONS", both())
    monkeypatch.setattr(kept_ahead, "_nothing_to_do_at", [])
    writer = Writer(seed)
    for _ in range(5):
        writer.upload()
    moment = timezone.now().isoformat()
    mine = writer.people[0].clinic_id
    for _ in range(9):
        if writer.chance.random() < 0.6:
            make_ahead(calm_s=0)
        wrote = writer.write()
        if writer.chance.random() < 0.4:
            make_ahead(calm_s=0)
        asked = [*questions(writer.model), ("distributions", {"model": writer.model, "as_of": moment})]
        for kind, what in asked:
            check(stranger, kind, what, None, wrote)
        check(operator, "distributions", {"model": writer.model}, Clinic.objects.get(pk=mine), wrote)
    assert KeptAnswer.objects.count() >= len(questions())


def test_an_answer_is_kept_until_its_own_model_changes(operator, stranger):
    thyme = community.operator()
    other = deepcopy(CATALOGUE)
    other["pump_model"][0]["name"] = "Larkspur Nine"
    load_catalogue(other, community.curator())
    receive(trace_bytes(), provenance(), thyme)
    asked = {"model": MODEL}
    first = over_http(stranger, "distributions", asked)
    everything = over_http(stranger, "settings-matches", {"rate": "30.."})
    receive(trace_bytes(seed=2), provenance(pump_model="Larkspur Nine", serial="LK000009"), thyme)
    assert over_http(stranger, "distributions", asked) == first
    assert over_http(stranger, "settings-matches", {"rate": "30.."}) != everything
    receive(trace_bytes(seed=3), provenance(), thyme)
    assert over_http(stranger, "distributions", asked)["cells"][0]["runs"] == 2


def test_every_kind_is_kept_and_asked_again_with_one_query(operator, stranger, django_assert_num_queries):
    for n, serial in enumerate(("LK000123", "LK005001")):
        receive(trace_bytes(seed=n), provenance(serial=serial), community.operator())
    for kind, asked in questions():
        document = over_http(stranger, kind, asked)
        with django_assert_num_queries(1):
            assert over_http(stranger, kind, asked) == document
    kept = KeptAnswer.objects.values_list("question", flat=True)
    assert {json.loads(written)[0] for written in kept} == set(KINDS)
    assert len(kept) == len(questions())


def test_who_has_an_answer_is_told_so(operator, stranger):
    receive(trace_bytes(), provenance(), community.operator())
    url = f"/api/v1/distributions?model={MODEL}"
    first = stranger.get(url)
    etag = first.headers["ETag"]
    assert first.headers["Cache-Control"] == "private, no-cache"
    assert {"Authorization", "Accept-Encoding"} <= set(first.headers["Vary"].split(", "))
    again = stranger.get(url, headers={"If-None-Match": etag})
    assert (again.status_code, again.content, again.headers["ETag"]) == (304, b"", etag)
    assert stranger.get(url, headers={"If-None-Match": 'W/"other"'}).content == first.content
    assert operator.get(url, headers={"If-None-Match": etag}).status_code == 200  # sees itself by name
    receive(trace_bytes(seed=2), provenance(), community.operator())
    later = stranger.get(url, headers={"If-None-Match": etag})
    assert (later.status_code, later.json()["cells"][0]["runs"]) == (200, 2)


def test_an_answer_comes_compressed_to_those_who_take_it(operator, stranger):
    url = f"/api/v1/claims?model={MODEL}"
    plain = stranger.get(url)
    assert "Content-Encoding" not in plain.headers
    for said in ("gzip", "br, gzip;q=0.5"):
        packed = stranger.get(url, headers={"Accept-Encoding": said})
        assert packed.headers["Content-Encoding"] == "gzip"
        assert gzip.decompress(packed.content) == plain.content
    assert stranger.get(url, headers={"Accept-Encoding": "br"}).content == plain.content


def test_a_kept_answer_is_for_those_who_may_read(operator, stranger, settings):
    url = f"/api/v1/claims?model={MODEL}"
    etag = stranger.get(url).headers["ETag"]
    settings.VACUARY_READS_OPEN = False
    assert stranger.get(url, headers={"If-None-Match": etag}).status_code == 401
    assert operator.get(url).status_code == 200


def test_refusals_are_not_kept(operator, stranger):
    assert over_http(stranger, "distributions", {"model": "Larkspur Ten"}) == "unknown_pump_model"
    assert over_http(stranger, "comparisons", {"model": MODEL, "old": "A", "new": "Q"}) == "invalid"
    assert not KeptAnswer.objects.exists()
    PumpModel.objects.update(name="Larkspur Ten")
    assert over_http(stranger, "distributions", {"model": "Larkspur Ten"})["model"] == "Larkspur Ten"


def test_an_answer_is_kept_once_it_has_been_sent(operator, stranger, monkeypatch):
    receive(trace_bytes(), provenance(), community.operator())
    asked = {"model": MODEL}
    close, kept_when_closed = HttpResponse.close, []

    def closed(response):
        kept_when_closed.append(KeptAnswer.objects.count())
        close(response)

    monkeypatch.setattr(HttpResponse, "close", closed)
    view = kept.answer_and_keep
    kept_when_answered = []

    def answered(*of):
        found = view(*of)
        kept_when_answered.append(KeptAnswer.objects.count())
        return found

    monkeypatch.setattr(kept, "answer_and_keep", answered)
    first = over_http(stranger, "distributions", asked)
    assert (kept_when_answered, kept_when_closed) == ([0], [1])
    assert over_http(stranger, "distributions", asked) == first
    assert kept_when_answered == [0]


def test_what_fails_after_an_answer_was_sent_is_logged_and_harms_nobody(
    operator, stranger, monkeypatch, caplog
):
    def failing(*_):
        raise RuntimeError("no room")

    monkeypatch.setattr(kept, "_keep", failing)
    assert over_http(stranger, "claims", {"model": MODEL})["model"] == MODEL
    assert not KeptAnswer.objects.exists()
    assert "no room" in caplog.text
    monkeypatch.undo()
    assert over_http(stranger, "claims", {"model": MODEL})["model"] == MODEL
    assert KeptAnswer.objects.count() == 1


def test_that_an_answer_was_asked_for_is_noted_when_it_is_not_sent_again(operator, stranger):
    url = f"/api/v1/claims?model={MODEL}"
    etag = stranger.get(url).headers["ETag"]
    long_ago = timezone.now() - timedelta(hours=3)
    KeptAnswer.objects.update(asked_at=long_ago)
    assert stranger.get(url, headers={"If-None-Match": etag}).status_code == 304
    assert KeptAnswer.objects.get().asked_at > long_ago

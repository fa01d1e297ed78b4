"""Names that turn the direction of reading are refused at every door, and the field is named."""

from copy import deepcopy

import pytest

from registry.models import Proposal, PumpModel, Run
from tests import community
from tests.api.test_runs import upload
from tests.declared import CATALOGUE, GAUGE, MODEL

pytestmark = pytest.mark.django_db
TURNED = "A\u202e1"


def entry(**changes):
    said = deepcopy(CATALOGUE)
    said["pump_model"][0] |= changes
    return said


def revision(**changes):
    return entry(revision=[{"label": "A", "order": 1, **changes}])


SPAN = {"first": "LK000001", "last": "LK000009", "basis": "declared", "source": "letter"}


@pytest.mark.parametrize(
    ("said", "field"),
    [
        (entry(maker=TURNED), "pump_model[0].maker"),
        (entry(name=TURNED), "pump_model[0].name"),
        (revision(label=TURNED), "pump_model[0].revision[0].label"),
        (revision(firmware=["1.0", TURNED]), "pump_model[0].revision[0].firmware"),
        (revision(marks={"housing": TURNED}), "pump_model[0].revision[0].marks"),
        (revision(marks={TURNED: "amber"}), "pump_model[0].revision[0].marks"),
        (revision(span=[{**SPAN, "last": TURNED}]), "pump_model[0].revision[0].span[0].last"),
    ],
)
def test_the_catalogue_takes_no_such_name(curator, said, field):
    answer = curator.post("/api/v1/catalogue", said, format="json")
    assert answer.status_code == 422
    assert [error["field"].startswith(field) for error in answer.json()["errors"]] == [True]
    assert not PumpModel.objects.exists()


@pytest.mark.parametrize("key", ["serial", "gauge", "firmware", "protector", "operator", "note"])
def test_a_run_takes_no_such_name(operator, key):
    answer = upload(operator, **{key: TURNED})
    assert (answer.status_code, answer.json()["errors"][0]["field"]) == (422, key)
    assert not Run.objects.exists()


def test_a_gauge_and_a_proposal_take_no_such_name(operator, curator):
    answer = operator.put("/api/v1/gauges/G2", {**GAUGE, "gauge_model": TURNED}, format="json")
    assert (answer.status_code, answer.json()["errors"][0]["field"]) == (422, "gauge_model")
    said = {"pump_model": MODEL, "revisions": [{"label": TURNED}], "why": "seen"}
    answer = curator.post("/api/v1/proposals", said, format="json")
    assert (answer.status_code, answer.json()["errors"][0]["field"]) == (422, "revisions[0].label")


def test_what_a_person_says_in_their_own_words_is_kept_as_it_was_sent(curator):
    community.catalogue()
    why = "the maker's letter \u2067(translated)\u2069"
    said = {"pump_model": MODEL, "revisions": [{"label": "C"}], "why": why}
    assert curator.post("/api/v1/proposals", said, format="json").status_code == 201
    assert Proposal.objects.get().why == why

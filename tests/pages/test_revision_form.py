"""A curator lists a revision on the page of the alert that told of it, without a script."""

import re

import pytest
from django.test import Client

from registry.intake.enrol import enrol
from registry.models import Alert, AlertState, Proposal
from tests.alerts.told import unlisted_alert
from tests.pages.conftest import signed_in
from tests.pages.test_pages import _Outline, text

pytestmark = pytest.mark.django_db
HEADING = "List the new revision"


@pytest.fixture
def told(db) -> Alert:
    return unlisted_alert()


def page_of(alert: Alert) -> str:
    return f"/alerts/{alert.pk}/"


def test_the_form_proposes_what_the_api_would(curator, told):
    assert HEADING in text(curator.get(page_of(told)))
    said = {"label": " A2 ", "order": "7", "marks": "housing = blue\r\n\r\nmembrane=domed=flat\r\n"}
    answer = curator.post(f"{page_of(told)}list", {**said, "basis": "declared"})
    assert (answer.status_code, answer["Location"]) == (303, page_of(told))
    proposal = Proposal.objects.get()
    marks = {"housing": "blue", "membrane": "domed=flat"}
    assert proposal.change["revisions"] == [{"label": "A2", "order": 7, "marks": marks}]
    assert {span["basis"] for span in proposal.change["spans"] if span["revision"] == "A2"} == {"declared"}
    assert proposal.proposed_by.handle == "elmsworth/sorrel"
    shown = text(curator.get(page_of(told)))
    assert f"Proposal {proposal.pk} lists it as revision A2. {proposal.foreseen['says']}" in shown
    assert HEADING not in shown
    assert curator.post(f"{page_of(told)}list", {"label": "A3"}).status_code == 409


def test_a_label_is_enough(curator, told):
    assert curator.post(f"{page_of(told)}list", {"label": "A2"}).status_code == 303
    change = Proposal.objects.get().change
    assert change["revisions"][0] == {"label": "A2", "order": 2, "marks": {}}


@pytest.mark.parametrize(
    ("said", "field", "says"),
    [
        ({}, "label", "This field is required."),
        ({"label": "a"}, "label", "is taken"),
        ({"label": "x" * 41}, "label", "at most 40 characters"),
        ({"label": "A\u202e2"}, "label", "direction of reading"),
        ({"label": "A2", "order": "0"}, "order", "greater than or equal to 1"),
        ({"label": "A2", "order": "first"}, "order", "whole number"),
        ({"label": "A2", "marks": "housing=blue\nwheels"}, "marks", "is no mark: write NAME=VALUE"),
        ({"label": "A2", "marks": "a=1\na=2"}, "marks", "stands there once"),
        ({"label": "A2", "marks": "a\u2067=1"}, "marks", "is no mark"),
        ({"label": "A2", "basis": "guessed"}, "basis", "not one of the available choices"),
    ],
)
def test_what_is_wrong_is_told_at_its_field_and_what_was_typed_stays(curator, told, said, field, says):
    answer = curator.post(f"{page_of(told)}list", {"order": "5", "marks": "lid=<b>grey</b>", **said})
    page = answer.content.decode()
    assert answer.status_code == 422
    (fault,) = re.findall(r'<p id="fault-(\w+)" class="fault" role="alert">([^<]*)</p>', page)
    assert fault[0] == field
    assert says in fault[1].replace("&#x27;", "'")
    outline = _Outline()
    outline.feed(page)
    (at_fault,) = (dict(attributes) for _, attributes in outline.tags if "aria-invalid" in attributes)
    assert (at_fault["name"], at_fault["aria-describedby"]) == (field, f"fault-{field}")
    assert "&lt;b&gt;grey" in page or "marks" in said
    assert 'value="5"' in page or "order" in said
    assert not Proposal.objects.exists()
    assert Alert.objects.get().state == AlertState.RAISED


def test_only_curators_list_and_only_from_such_alerts(operator, stranger, curator, told, gauge_alert):
    assert operator.post(f"{page_of(told)}list", {"label": "A2"}).status_code == 403
    assert stranger.post(f"{page_of(told)}list", {"label": "A2"}).status_code == 302
    for reader in (operator, stranger):
        assert HEADING not in text(reader.get(page_of(told)))
    assert HEADING not in text(curator.get(page_of(gauge_alert)))
    assert curator.post(f"{page_of(gauge_alert)}list", {"label": "A2"}).status_code == 409
    assert curator.post("/alerts/99999/list", {"label": "A2"}).status_code == 404
    assert not Proposal.objects.exists()


def test_a_form_of_another_site_is_not_taken(told):
    browser = Client(enforce_csrf_checks=True)
    browser.cookies.update(signed_in(enrol("elmsworth", "sorrel", curator=True)[1]).cookies)
    assert browser.post(f"{page_of(told)}list", {"label": "A2"}).status_code == 403
    assert not Proposal.objects.exists()
    token = re.search(
        r'name="csrfmiddlewaretoken" value="(\w+)"', browser.get(page_of(told)).content.decode()
    )
    assert (
        browser.post(f"{page_of(told)}list", {"label": "A2", "csrfmiddlewaretoken": token[1]}).status_code
        == 303
    )


def test_the_page_is_well_formed_and_light(curator, told):
    answer = curator.get(page_of(told))
    outline = _Outline()
    outline.feed(answer.content.decode())
    assert outline.open == []
    assert all(b - a <= 1 for a, b in zip(outline.headings, outline.headings[1:], strict=False))

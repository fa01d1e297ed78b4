"""Paging: every record once, a page never shifts, and nothing but what an answer gave is a cursor."""

from base64 import b64encode
from itertools import chain

import pytest

from registry.models import Maker

pytestmark = pytest.mark.django_db


def encoded(text):
    return b64encode(text.encode()).decode()


@pytest.fixture
def makers():
    return [Maker.objects.create(name=f"Maker {number:02d}").pk for number in range(7)]


def pages(client, address):
    while address:
        page = client.get(address).json()
        yield [row["id"] for row in page["results"]]
        address = page["next"]


@pytest.mark.parametrize("size", [1, 3, 7, 500])
def test_every_record_comes_once_in_order(stranger, makers, size):
    found = list(pages(stranger, f"/api/v1/makers?page_size={size}"))
    assert list(chain(*found)) == makers
    assert all(len(page) == size for page in found[:-1])


def test_a_page_does_not_shift_when_records_come_and_go(stranger, makers):
    walk = pages(stranger, "/api/v1/makers?page_size=3")
    first = next(walk)
    Maker.objects.get(pk=first[0]).delete()
    added = Maker.objects.create(name="Maker 99").pk
    assert list(chain(*walk)) == [*makers[3:], added]


@pytest.mark.parametrize("size", ["0", "-1", "501", "abc", "1.5", "", "٣", "9" * 5000])
def test_a_page_size_out_of_bounds_is_refused(stranger, makers, size):
    answer = stranger.get("/api/v1/makers", {"page_size": size})
    problem = answer.json()
    assert (answer.status_code, problem["errors"][0]["field"]) == (422, "page_size")
    assert "from 1 to 500" in problem["detail"]


@pytest.mark.parametrize(
    "cursor",
    [encoded(text) for text in ("p=abc", "p=1\0", "p=-1", "p=1e3", f"p={'9' * 30}", "r=x&p=1", "o=-1", "p=")]
    + ["%", "not base64", "ä"],
)
@pytest.mark.parametrize("shelf", ["makers", "runs", "alerts"])
def test_what_no_answer_gave_is_no_cursor(stranger, shelf, cursor):
    answer = stranger.get(f"/api/v1/{shelf}", {"cursor": cursor})
    assert (answer.status_code, answer.json()["errors"][0]["field"]) == (422, "cursor")


def test_the_schema_says_the_bounds(stranger):
    schema = stranger.get("/api/v1/schema", headers={"Accept": "application/vnd.oai.openapi+json"}).json()
    parameters = schema["paths"]["/api/v1/makers"]["get"]["parameters"]
    (size,) = [p["schema"] for p in parameters if p["name"] == "page_size"]
    assert (size["minimum"], size["maximum"], size["default"]) == (1, 500, 50)

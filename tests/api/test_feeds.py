"""The Atom feed: what RFC 4287 asks of one, what readers make of it, and that nobody fetches it twice."""

import xml.etree.ElementTree as ET
from datetime import datetime

import feedparser
import pytest
from django.utils import timezone

from registry.alerts.delivery import announce
from tests import factories
from tests.alerts.delivery.raising import raised

pytestmark = pytest.mark.django_db
FEED = "/api/v1/alerts/feed"
ATOM = "{http://www.w3.org/2005/Atom}"


def fetched(client, address=FEED, **query):
    return client.get(address, query)


def read(answer) -> feedparser.FeedParserDict:
    found = feedparser.parse(answer.content, response_headers={"content-type": answer["Content-Type"]})
    assert not found.bozo, found.get("bozo_exception")
    return found


@pytest.fixture
def two():
    """An alert, and its end."""
    alert = raised("elmsworth/G1", why=["6 % high, beyond 4 %"])
    alert.state, alert.closed_at, alert.closed_why = "settled", timezone.now(), "reads within others again"
    alert.save()
    announce(alert, "settled")
    return alert


def test_readers_see_an_entry_when_an_alert_is_raised_and_one_when_it_ends(stranger, two):
    answer = fetched(stranger)
    assert (answer.status_code, answer["Content-Type"]) == (200, "application/atom+xml; charset=utf-8")
    found = read(answer)
    assert found.version == "atom10"
    assert [entry.title.partition(":")[0] for entry in found.entries] == ["Settled", "Raised"]
    raised_entry = found.entries[1]
    assert raised_entry.link == f"http://testserver/alerts/{two.pk}/"
    assert {tag.term for tag in raised_entry.tags} == {"raised", "gauge_off", "caution"}
    assert "beyond 4 %" in raised_entry.content[0].value
    assert "Caution:" in raised_entry.content[0].value


def test_all_that_rfc_4287_requires_is_there(stranger, two):
    """RFC 4287, 4.1.1 and 4.1.2: one id, title and updated each; an author; a link to itself; unlike ids."""
    root = ET.fromstring(fetched(stranger, severity="caution").content)
    assert root.tag == f"{ATOM}feed"
    for element in (root, *root.findall(f"{ATOM}entry")):
        for name in ("id", "title", "updated"):
            (one,) = element.findall(f"{ATOM}{name}")
            assert one.text
        assert datetime.fromisoformat(element.findtext(f"{ATOM}updated")).tzinfo is not None
    assert root.findtext(f"{ATOM}author/{ATOM}name")
    links = {link.get("rel"): link.get("href") for link in root.findall(f"{ATOM}link")}
    assert links["self"] == f"http://testserver{FEED}?severity=caution"
    ids = [entry.findtext(f"{ATOM}id") for entry in root.findall(f"{ATOM}entry")]
    assert len(set(ids)) == 2
    assert all(one.startswith("urn:uuid:") for one in ids)


def test_ids_and_times_stay_the_same(stranger, two):
    first = read(fetched(stranger))
    raised("brackwater/G1")
    second = read(fetched(stranger))
    assert [(e.id, e.updated) for e in second.entries[1:]] == [(e.id, e.updated) for e in first.entries]
    assert second.feed.id == first.feed.id
    assert second.feed.updated == second.entries[0].updated


def test_a_feed_without_entries_is_a_feed(stranger):
    found = read(fetched(stranger))
    assert (found.entries, bool(found.feed.updated)) == ([], True)


@pytest.mark.parametrize(
    ("query", "expected"),
    [
        ({}, {"a/G1", "b/G1", "c/G1"}),
        ({"rule": "unit_off"}, {"b/G1"}),
        ({"severity": "caution"}, {"a/G1", "b/G1"}),
        ({"model": "Lapwing One"}, {"c/G1"}),
        ({"clinic": "North"}, {"a/G1"}),
    ],
)
def test_it_is_narrowed_down_as_subscriptions_are(stranger, query, expected):
    raised("a/G1", clinic=factories.clinic("north"))
    raised("b/G1", rule="unit_off", severity="urgent")
    raised("c/G1", severity="note", pump_model=factories.pump_model())
    assert {e.title.split()[2] for e in read(fetched(stranger, **query)).entries} == expected


def test_what_nobody_knows_is_refused(stranger):
    assert fetched(stranger, state="open").json()["code"] == "invalid"
    assert fetched(stranger, rule="gauge_of").json()["errors"][0]["field"] == "rule"
    assert fetched(stranger, clinic="nowhere").json()["errors"][0]["field"] == "clinic"
    assert fetched(stranger, model="Nothing").json()["code"] == "unknown_pump_model"


def test_who_has_it_is_not_sent_it_again(stranger, two):
    first = fetched(stranger)
    assert first["ETag"]
    assert first["Last-Modified"]
    for header in ({"HTTP_IF_NONE_MATCH": first["ETag"]}, {"HTTP_IF_MODIFIED_SINCE": first["Last-Modified"]}):
        again = stranger.get(FEED, **header)
        assert (again.status_code, again.content) == (304, b"")
    raised("brackwater/G1")
    assert stranger.get(FEED, HTTP_IF_NONE_MATCH=first["ETag"]).status_code == 200


def test_odd_letters_make_no_bad_feed(stranger):
    raised(says="High \x0b\x1b <b>&\ufffe")
    assert "<b>&" in ET.fromstring(fetched(stranger).content).findtext(f"{ATOM}entry/{ATOM}title")


def test_no_word_of_data_turns_the_direction_of_reading(stranger):
    raised(says="High \u202eHgmm 6", why=["it \u2067reads\u2069 high"], cautions=["\u061cmind\u200e"])
    told = fetched(stranger).content.decode()
    assert "High Hgmm 6" in told
    assert "it reads high" in told
    assert not set("\u202e\u2067\u2069\u061c\u200e") & set(told)


def test_a_readers_types_do_not_matter(stranger):
    assert stranger.get(FEED, HTTP_ACCEPT="application/atom+xml").status_code == 200
    assert stranger.get(FEED, HTTP_ACCEPT="text/html").status_code == 200


def test_where_readers_sign_in_a_feed_of_ones_own_needs_no_token(operator, stranger, settings, two):
    settings.VACUARY_READS_OPEN = False
    assert stranger.get(FEED).status_code == 401
    made = operator.post(
        "/api/v1/subscriptions", {"channel": "feed", "severity": "urgent"}, format="json"
    ).json()
    assert made["feed"].startswith("http://testserver/")
    assert read(stranger.get(made["feed"])).entries == []
    raised("brackwater/G1", severity="urgent")
    assert len(read(stranger.get(made["feed"])).entries) == 1
    assert stranger.get(made["feed"][:-1]).status_code == 404
    assert stranger.get(f"{FEED}/{'9' * 30}-x").status_code == 404
    operator.delete(f"/api/v1/subscriptions/{made['id']}")
    assert stranger.get(made["feed"]).status_code == 404

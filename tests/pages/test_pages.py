"""The pages: what they show, to whom, and what they keep out."""

import re
from html.parser import HTMLParser

import pytest
from django.test import Client

from registry.intake.enrol import enrol, revoke
from registry.models import Alert, AlertState
from tests import factories
from tests.alerts.delivery.raising import raised
from tests.pages.conftest import WHY, signed_in

pytestmark = pytest.mark.django_db
LIMIT_BYTES = 30_000


def text(answer) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", answer.content.decode()).split())


def test_the_front_page_says_what_it_is_and_how_many_alerts_are_open(stranger, gauge_alert):
    raised("elmsworth/G2")
    raised("elmsworth/G3", severity="note")
    raised("elmsworth/G4", state=AlertState.SETTLED)
    shown = text(stranger.get("/"))
    assert "Vacuary keeps their runs" in shown
    assert "1 urgent" in shown
    assert "2 caution or graver" in shown
    assert "3 in all" in shown


def test_one_alert_tells_what_where_how_sure_since_when_why_and_what_to_do(stranger, gauge_alert):
    answer = stranger.get(f"/alerts/{gauge_alert.pk}/")
    shown = text(answer)
    parts = (
        gauge_alert.says,
        "gauge elmsworth/G1",
        "urgent",
        "98 %",
        *WHY,
        "What to do",
        "Cautions",
        "LK000003",
    )
    for part in parts:
        assert part in shown, part
    assert '<svg class="picture"' in answer.content.decode()
    assert "Compare" in shown.partition("What to do")[2]


def test_the_list_is_narrowed_down_and_paged(stranger):
    model = factories.pump_model()
    for number in range(30):
        raised(f"elmsworth/G{number}", clinic=factories.clinic("elmsworth"))
    raised("unit", rule="unit_off", severity="note", pump_model=model)
    raised("north/G1", state=AlertState.SETTLED)
    first = stranger.get("/alerts/", {"clinic": "Elmsworth"})
    assert first.content.count(b'class="card') == 25
    older = re.search(r'rel="next" href="([^"]+)"', first.content.decode())[1].replace("&amp;", "&")
    assert stranger.get(older).content.count(b'class="card') == 5
    assert stranger.get("/alerts/", {"model": model.name}).content.count(b'class="card') == 1
    assert stranger.get("/alerts/", {"rule": "unit_off"}).content.count(b'class="card') == 1
    assert stranger.get("/alerts/", {"severity": "urgent"}).content.count(b'class="card') == 0
    assert stranger.get("/alerts/", {"state": "settled"}).content.count(b'class="card') == 1
    assert stranger.get("/alerts/", {"state": "any", "severity": "note"}).content.count(b'class="card') == 25


@pytest.mark.parametrize(
    "query",
    [{"state": "x"}, {"severity": "x"}, {"before": "x"}, {"clinic": "x"}, {"model": "x"}, {"rule": "x"}]
    + [{key: "a\0b"} for key in ("state", "severity", "before", "clinic", "model", "rule")],
)
def test_what_cannot_be_meant_is_said_so(stranger, query):
    assert stranger.get("/alerts/", query).status_code == 422


def test_no_alert_is_not_shown_as_all_well(stranger):
    assert "not judged" in text(stranger.get("/alerts/"))


def test_suspicions_and_rules_on_trial_are_shown_to_nobody(curator):
    for changes in ({"state": AlertState.SUSPECTED}, {"shadow": True}, {"state": AlertState.LAPSED}):
        hidden = raised("north/G1", **changes)
        assert curator.get(f"/alerts/{hidden.pk}/").status_code == 404
        assert curator.post(f"/alerts/{hidden.pk}/seen").status_code == 404
    assert b'class="card' not in curator.get("/alerts/?state=any").content


def test_an_address_nobody_serves_is_a_page_to_people_and_a_document_to_programs(stranger):
    assert "Nothing is here" in text(stranger.get("/nowhere"))
    assert stranger.get("/nowhere").status_code == 404
    assert stranger.get("/api/v1/nowhere").json()["code"] == "not_found"


@pytest.mark.parametrize("address", ["/", "/alerts/", "/alerts/{id}/", "/sign-in/", "/nowhere"])
def test_nothing_is_fetched_from_elsewhere_and_nothing_runs(stranger, gauge_alert, address):
    answer = stranger.get(address.format(id=gauge_alert.pk))
    policy = answer["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    page = answer.content.decode()
    assert "<script" not in page
    assert not re.search(r"\son\w+=|\sstyle=", page)
    assert not re.search(r'(?:src|href|action)="(?:https?:)?//', page)
    assert answer["X-Content-Type-Options"] == "nosniff"


def test_a_page_with_its_style_is_light(stranger, gauge_alert):
    page = stranger.get(f"/alerts/{gauge_alert.pk}/")
    style = stranger.get(re.search(r'href="(/style/[^"]+)"', page.content.decode())[1])
    assert style["Content-Type"] == "text/css; charset=utf-8"
    assert "immutable" in style["Cache-Control"]
    assert len(page.content) + len(style.content) < LIMIT_BYTES


def test_a_page_that_has_not_changed_is_not_sent_again(stranger, gauge_alert):
    first = stranger.get("/alerts/")
    assert stranger.get("/alerts/", HTTP_IF_NONE_MATCH=first["ETag"]).status_code == 304
    raised("elmsworth/G2")
    assert stranger.get("/alerts/", HTTP_IF_NONE_MATCH=first["ETag"]).status_code == 200


class _Outline(HTMLParser):
    """What a reader without eyes goes by."""

    def __init__(self) -> None:
        super().__init__()
        self.headings: list[int] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.open: list[str] = []

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if re.fullmatch("h[1-6]", tag):
            self.headings.append(int(tag[1]))
        is_hidden = dict(attrs).get("type") == "hidden" or "hidden" in dict(attrs)
        if tag in ("input", "select", "textarea") and not is_hidden:
            assert "label" in self.open, f"{attrs} has no label"
        if tag not in ("meta", "link", "input"):
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        """In a picture elements may end themselves."""
        assert tag in ("path", "line", "circle")

    def handle_endtag(self, tag):
        assert self.open.pop() == tag, f"{tag} does not end what is open"


@pytest.mark.parametrize("address", ["/", "/alerts/", "/alerts/{id}/", "/sign-in/"])
def test_pages_are_well_formed_and_have_an_outline(curator, gauge_alert, address):
    outline = _Outline()
    outline.feed(curator.get(address.format(id=gauge_alert.pk)).content.decode())
    names = [tag for tag, _ in outline.tags]
    assert dict(outline.tags)["html"] == {"lang": "en"}
    assert (names.count("title") >= 1, names.count("main"), names.count("h1")) == (True, 1, 1)
    assert outline.headings[0] == 1
    assert all(b - a <= 1 for a, b in zip(outline.headings, outline.headings[1:], strict=False))
    assert outline.open == []
    for tag, attributes in outline.tags:
        if tag == "th":
            assert attributes.get("scope") in ("row", "col")


def test_words_of_data_stay_words(stranger):
    alert = raised(
        "<b>x</b>", says="<script>alert(1)</script>", evidence={"readings": [{"serial": "<i>", "percent": 3}]}
    )
    page = stranger.get(f"/alerts/{alert.pk}/").content.decode()
    assert "<script>" not in page
    assert "<b>x" not in page
    assert "<i>" not in page


def test_no_word_of_data_turns_the_direction_of_reading(stranger, curator):
    turned = "".join(map(chr, (0x61C, 0x200E, 0x200F, *range(0x202A, 0x202F), *range(0x2066, 0x206A))))
    alert = raised(f"elms{turned}worth", says=f"Gauge{turned} G1", why=[turned], evidence={turned: turned})
    curator.post(f"/alerts/{alert.pk}/dismiss", {"reason": "rig_fault"})
    for reader in (stranger, curator):
        for address in ("/alerts/?state=all", f"/alerts/{alert.pk}/", f"/alerts/?clinic={turned}"):
            page = reader.get(address).content.decode()
            assert not set(turned) & set(page)
    assert "Gauge G1" in text(stranger.get(f"/alerts/{alert.pk}/"))


class TestSignedIn:
    """Where the installation asks readers to sign in, and where curators act."""

    def test_readers_are_sent_to_the_form_and_back(self, stranger, gauge_alert, settings):
        settings.VACUARY_READS_OPEN = False
        token = enrol("elmsworth", "thyme")[1]
        asked = stranger.get(f"/alerts/{gauge_alert.pk}/")
        assert (asked.status_code, gauge_alert.says in text(asked)) == (302, False)
        assert stranger.get(asked["Location"]).status_code == 200
        there = stranger.post("/sign-in/", {"token": token, "next": f"/alerts/{gauge_alert.pk}/"})
        assert (there.status_code, there["Location"]) == (303, f"/alerts/{gauge_alert.pk}/")
        assert gauge_alert.says in text(stranger.get(there["Location"]))

    @pytest.mark.parametrize(
        "following", ["https://evil.example/", "//evil.example", "/\\evil.example", "javascript:x", ""]
    )
    def test_the_form_leads_nowhere_else(self, stranger, following):
        token = enrol("elmsworth", "thyme")[1]
        assert stranger.post("/sign-in/", {"token": token, "next": following})["Location"] == "/"

    @pytest.mark.parametrize("token", ["", "x", "ä" * 50, "0" * 500])
    def test_a_token_nobody_has_is_refused(self, stranger, token):
        answer = stranger.post("/sign-in/", {"token": token})
        assert (answer.status_code, "not known" in text(answer)) == (422, True)
        assert "vacuary_reader" not in answer.cookies

    def test_the_cookie_is_for_this_server_alone_and_holds_no_token(self, stranger):
        token = enrol("elmsworth", "thyme")[1]
        cookie = stranger.post("/sign-in/", {"token": token}).cookies["vacuary_reader"]
        assert (cookie["httponly"], cookie["samesite"]) == (True, "Lax")
        assert token not in cookie.value

    def test_ending_the_tokens_ends_the_sign_in(self, operator):
        assert "elmsworth/thyme" in text(operator.get("/"))
        revoke("elmsworth", "thyme")
        assert "elmsworth/thyme" not in text(operator.get("/"))

    def test_a_changed_cookie_is_nobody(self, operator):
        operator.cookies["vacuary_reader"] = operator.cookies["vacuary_reader"].value + "x"
        assert "Sign in" in text(operator.get("/"))

    def test_signing_out_signs_out(self, operator):
        assert operator.post("/sign-out/").status_code == 303
        assert "Sign in" in text(operator.get("/"))

    def test_a_curator_looks_into_an_alert_and_dismisses_it(self, curator, stranger, gauge_alert):
        page = f"/alerts/{gauge_alert.pk}/"
        assert curator.post(f"{page}seen")["Location"] == page
        assert "being looked into" in text(curator.get(page))
        curator.post(f"{page}dismiss", {"reason": "rig_fault", "note": "the window was open"})
        gauge_alert.refresh_from_db()
        assert gauge_alert.state == AlertState.DISMISSED
        assert "the window was open" in text(curator.get(page))
        assert "the window was open" not in text(stranger.get(page))
        assert curator.post(f"{page}seen").status_code == 409

    def test_a_dismissal_without_a_reason_is_refused(self, curator, gauge_alert):
        assert curator.post(f"/alerts/{gauge_alert.pk}/dismiss", {"reason": ""}).status_code == 422

    @pytest.mark.parametrize("what", ["seen", "dismiss"])
    def test_others_do_not_act_and_are_not_asked_to(self, operator, stranger, gauge_alert, what):
        page = f"/alerts/{gauge_alert.pk}/"
        assert operator.post(f"{page}{what}").status_code == 403
        assert stranger.post(f"{page}{what}").status_code == 302
        assert "For curators" not in text(operator.get(page))
        assert Alert.objects.get().state == AlertState.RAISED

    @pytest.mark.parametrize("what", ["seen", "dismiss"])
    def test_a_form_of_another_site_is_not_taken(self, db, gauge_alert, what):
        token = enrol("elmsworth", "sorrel", curator=True)[1]
        browser = Client(enforce_csrf_checks=True)
        browser.cookies.update(signed_in(token).cookies)
        answer = browser.post(f"/alerts/{gauge_alert.pk}/{what}", {"reason": "rig_fault"})
        assert (answer.status_code, "was not taken" in text(answer)) == (403, True)
        assert Alert.objects.get().state == AlertState.RAISED

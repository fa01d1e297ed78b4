"""The pages in a real browser: a phone's width, no script, by keyboard, and what a curator does."""

import os
import shutil
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, sync_playwright

from registry.intake.enrol import enrol
from registry.models import Alert
from tests.alerts.delivery.raising import raised
from tests.pages.conftest import EVIDENCE, WHY

NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")
OPTIONS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]
WIDTHS = {"phone": (360, 740), "desktop": (1280, 800)}


def browser_path() -> str:
    """Where Chromium is. Fails with what to do when there is none: a check that is left out shows nothing."""
    said = os.environ.get("VACUARY_BROWSER") or next(filter(None, map(shutil.which, NAMES)), None)
    if not said or not os.path.exists(said):
        pytest.fail(
            "This test needs Chromium. Install it (Debian: apt-get install chromium), "
            "or set VACUARY_BROWSER to the path of one."
        )
    return said


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """One Chromium for all tests here."""
    path = browser_path()
    with sync_playwright() as playwright:
        found = playwright.chromium.launch(executable_path=path, args=OPTIONS)
        yield found
        found.close()


@pytest.fixture
def site(monkeypatch, transactional_db, settings, request) -> tuple[str, int, str]:
    """A server with two alerts: its address, the first one's number, and a curator's token.

    The browser's own loop runs in this thread; Django takes it for a server's and would refuse to query.
    """
    monkeypatch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "1")
    settings.STATIC_URL, settings.MEDIA_URL = "/static/", "/media/"  # the test server insists on both
    live = request.getfixturevalue("live_server")
    says = (
        "Gauge elmsworth/G1 reads 6.1 % high (4.6 to 7.6 %) against 4 other clinics, on 9 units of 2 builds."
    )
    first = raised("elmsworth/G1", says=says, severity="urgent", why=WHY, evidence=EVIDENCE)
    raised("Larkspur Two Portable Anniversary/LK000123456789012345678901234567890", says="A" * 200)
    return live.url, first.pk, enrol("elmsworth", "sorrel", curator=True)[1]


@pytest.fixture(params=WIDTHS)
def page(request, browser) -> Iterator[Page]:
    """A window without scripts that fails on any error and any request that leaves the server."""
    width, height = WIDTHS[request.param]
    context = browser.new_context(
        viewport={"width": width, "height": height}, java_script_enabled=False, reduced_motion="reduce"
    )
    opened = context.new_page()
    opened.set_default_timeout(10_000)
    trouble: list[str] = []
    opened.on("console", lambda said: trouble.append(said.text))
    opened.on("pageerror", lambda error: trouble.append(str(error)))
    opened.on("requestfailed", lambda asked: trouble.append(asked.url))
    yield opened
    context.close()
    assert trouble == []


def fits(page: Page) -> bool:
    """Whether nothing sticks out sideways."""
    widest = page.locator("html").evaluate("html => html.scrollWidth - html.clientWidth")
    return bool(widest <= 0)


def test_a_reader_gets_from_the_front_page_to_the_evidence(site, page):
    address, number, _ = site
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto(address)
    assert fits(page)
    page.get_by_role("link", name="All alerts").click()
    assert page.get_by_role("heading", level=1).inner_text() == "Alerts"
    assert fits(page)
    page.get_by_label("At least").select_option("urgent")
    page.get_by_role("button", name="Show").click()
    assert page.locator(".card").count() == 1
    page.locator(".card a").click()
    assert page.url == f"{address}/alerts/{number}/"
    assert page.get_by_role("img", name="How far off, in per cent").is_visible()
    assert page.get_by_role("rowheader", name="LK000003", exact=True).is_visible()
    assert fits(page)
    assert all(url.startswith((address, "data:")) for url in asked)


def test_a_curator_signs_in_and_acts_by_keyboard(site, page):
    address, number, token = site
    page.goto(f"{address}/alerts/{number}/")
    page.keyboard.press("Tab")
    assert page.locator(":focus").inner_text() == "To the content"
    page.get_by_role("link", name="Sign in").focus()
    page.keyboard.press("Enter")
    page.get_by_label("Your token").focus()
    page.keyboard.type(token)
    page.keyboard.press("Enter")
    page.get_by_role("button", name="I am looking into it").wait_for()
    assert page.url == f"{address}/alerts/{number}/"
    assert fits(page)
    page.get_by_role("button", name="I am looking into it").press("Enter")
    page.get_by_text("being looked into").wait_for()
    page.get_by_label("It is none, because").select_option("gauge_recalibrated")
    page.get_by_label("Note, for curators only").fill("adjusted on Monday")
    page.get_by_role("button", name="Dismiss").press("Enter")
    page.get_by_text("adjusted on Monday").wait_for()
    assert Alert.objects.get(pk=number).state == "dismissed"

"""Be told of the alert by a feed of one's own, and ask why a run is, or is not, behind it."""

import xml.etree.ElementTree as ET
from typing import Final

import requests

from client_cli.session import Session
from seed_demo.driver import cli
from seed_demo.driver.home import tell, title
from seed_demo.driver.people import Tokens
from seed_demo.driver.truth import Json

FETCH_LIMIT_S: Final = 30
_ATOM: Final = {"atom": "http://www.w3.org/2005/Atom"}


def show_told(address: str, tokens: Tokens, clinic: str, gauge: str) -> list[str]:
    """Subscribe as the clinic, read the feed, explain a run of the gauge; returns complaints."""
    title("Who is told, and why")
    cli.use(address, tokens.operator(clinic))
    made = cli.ask("subscriptions", "add", "feed", "--rule", "gauge_off", "--clinic", clinic)
    entries = titles(requests.get(made["feed"], timeout=FETCH_LIMIT_S).text)
    cli.ask("subscriptions", "remove", str(made["id"]))
    tell(f"{clinic}'s own feed of alerts tells:")
    for entry in entries:
        tell(f"  {entry}")
    with Session(address, tokens.operator(clinic)) as session:
        run = session.get("runs", {"gauge": gauge, "state": "accepted", "page_size": 1})["results"][0]
    cli.show("explain", str(run["id"]), lines=28)
    document = cli.ask("explain", str(run["id"]))
    cli.use(address, None)
    return not_told(entries, document, f"{clinic}/{gauge}")


def titles(feed: str) -> list[str]:
    """The titles of an Atom feed's entries, newest first."""
    found = ET.fromstring(feed).iterfind("atom:entry/atom:title", _ATOM)  # noqa: S314 - of the demo's own server
    return [str(title.text) for title in found]


def not_told(entries: list[str], explained: Json, gauge: str) -> list[str]:
    """Complaints unless the feed tells that the gauge is off, and the run's explanation names its alert."""
    wrong = []
    if not any(entry.startswith("Raised") and gauge in entry for entry in entries):
        wrong.append(f"the feed does not tell of {gauge}")
    about = [row["outcome"] for row in explained["rules"] if row["subject"] == {"gauge": gauge}]
    if "alert" not in about:
        wrong.append(f"a run of {gauge} is explained by {about}")
    return wrong

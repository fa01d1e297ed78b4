"""Claims held against what clinics measure."""

from typing import Any

from rich.console import Console
from rich.text import Text

from client_cli.numbers import fixed, is_number, percent
from client_cli.render.comparisons import between, places_of
from client_cli.render.console import cautions, counted, lines, says, table
from client_cli.render.distributions import unit_name
from client_cli.render.rigs import Rigs, show_shared, side_of
from client_cli.render.runs import setting
from client_cli.text import clean, one_line

COLOURS = {"upheld": "green", "not upheld": "red", "undecided": "yellow"}


def show_claims(console: Console, document: dict[str, Any]) -> None:
    """A row a claim and revision."""
    says(console, document)
    claims = document.get("claims") or []
    if claims:
        _show_rows(console, claims)
        console.print()
        console.print(
            "Typical: the build's typical unit with its 95 % interval. Conform: units that do as claimed. "
            "A verdict stands where it is right with 95 % probability (JCGM 106); risk: of being wrong."
        )
    cautions(console, document)


def _show_rows(console: Console, claims: list[dict[str, Any]]) -> None:
    rigs = Rigs(claim["setting"] for claim in claims if claim.get("setting"))
    show_shared(console, rigs)
    rows = table("Claim", "Build", "Typical", "Conform", "Verdict")
    for claim in claims:
        rows.add_row(
            lines(*_claim(claim)),
            lines(*_build(claim, rigs)),
            _typical(claim),
            _share(claim.get("probability")),
            _verdict(claim),
        )
        rows.add_section()
    console.print()
    console.print(rows)


def _claim(claim: dict[str, Any]) -> list[str]:
    value = (
        [fixed(claim["value"], None), unit_name(claim.get("unit"))] if is_number(claim.get("value")) else []
    )
    where = setting(claim)
    entered = [one_line(claim.get("entered_by")), one_line(claim.get("entered_at"))[:10]]
    return [
        clean(claim.get("metric", "")),
        " ".join(filter(None, [one_line(claim.get("relation")), *value])),
        "" if where == "-" else where,
        one_line(claim.get("source")),
        f"entered by {' '.join(entered)}" if claim.get("entered_by") else "",
    ]


def _build(claim: dict[str, Any], rigs: Rigs) -> list[str]:
    at = claim.get("setting") or {}
    against = f"against {clean(claim['against'])}" if claim.get("against") else ""
    counts = ", ".join(counted(claim.get(f"{noun}s"), noun) for noun in ("unit", "clinic"))
    return [
        f"revision {clean(claim.get('revision', ''))}",
        against,
        setting(at) if at else "",
        *side_of(at),
        rigs.own(at) if at else "",
        counts,
    ]


def _typical(claim: dict[str, Any]) -> str:
    if not is_number(claim.get("centre")):
        return "-"
    low, high = claim.get("low"), claim.get("high")
    places = places_of(low, high)
    return lines(fixed(claim["centre"], places), between(low, high, places))


def _share(probability: Any) -> str:
    return percent(probability) if is_number(probability) else "-"


def _verdict(claim: dict[str, Any]) -> Text:
    verdict = one_line(claim.get("verdict"))
    risk = claim.get("risk")
    told = [Text(verdict, style=COLOURS.get(verdict, ""))]
    if is_number(risk):
        told.append(Text("risk below 0.1 %" if risk < 0.001 else f"risk {100 * risk:.1f} %"))
    if claim.get("missing"):
        told.append(Text(f"needs {one_line(claim['missing'])}"))
    return Text("\n").join(told)

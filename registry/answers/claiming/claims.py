"""What makers and suppliers claim, held against what clinics measure."""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from registry.answers import cautions
from registry.answers.blocks import Block, distinct, summary_blocks
from registry.answers.claiming.claimed import NOT_MEASURED, UNDECIDED, judge_claim
from registry.answers.claiming.standing import CLAIMED, standing_claims
from registry.answers.comparing.comparisons import answer_comparison
from registry.answers.comparing.telling import told_setting
from registry.answers.filters import chosen_elevation
from registry.answers.ground import NO_GROUND, Ground
from registry.answers.narrowing import Margins, rig_labels
from registry.answers.places import lacking
from registry.answers.setting import AT, PLACE
from registry.answers.stamp import chosen_moment, stamp
from registry.answers.wording import counted, dated, figure, in_a_hundred, in_words, rounded_within
from registry.models import Claim, PumpModel, Revision
from registry.models.lookup import find_revision

SAME_AS_BEFORE = "same as before"
# How many builds a line can name one by one.
_NAMED = 4
_VERDICTS = {"same": "upheld", "different": "not upheld"}
_EMPTY: Mapping[str, Any] = {"missing": ""} | dict.fromkeys(
    (
        "centre",
        "low",
        "high",
        "probability",
        "probability_typical",
        "guard_band",
        "accept_low",
        "accept_high",
        "risk",
    )
)


@dataclass(frozen=True)
class _About:
    """What all claims of a model are judged with."""

    pump_model: PumpModel
    revisions: list[Revision]
    blocks: Sequence[Block]
    rigs: Mapping[int, str]
    entered: Mapping[int, datetime]
    margins: Margins
    elevation: str | None
    edition: int
    moment: datetime | None
    ground: Ground


def answer_claims(
    model: str,
    *,
    revision: str | None = None,
    elevation: str | None = None,
    edition: int | None = None,
    as_of: datetime | None = None,
    ground: Ground = NO_GROUND,
) -> dict[str, Any]:
    """Return the `claims` document: a row a claim and revision.

    `elevation` is the one band of elevation whose runs count, all of them unless said. `edition` is the
    current one unless said; with `as_of`, a past time, the answer of then is made again.

    A claim of a value is judged by JCGM 106 (`claimed.judge_claim`): `upheld`, `not upheld` or `undecided`
    with the risk that the verdict is wrong, or `not measured`. Below three units from two clinics nothing is
    decided, and `missing` says what is. `same as before` is judged by comparing each
    revision with the one before it; its risk is the p-value of the test that decided. For a past time claims
    are those of then.

    Raises UnknownPumpModel, and Invalid on `revision` or `elevation`.
    """
    pump_model = ground.pump_model(model)
    revisions = list(pump_model.revisions.order_by("order"))
    chosen = [find_revision(pump_model, revision)] if revision and revision.strip() else revisions
    band = chosen_elevation(elevation)
    number, moment = ground.chosen_edition(edition), chosen_moment(as_of)
    claims, entered = standing_claims(pump_model, moment)
    stamped = stamp(number, moment)
    blocks = summary_blocks(
        moment,
        pump_model=pump_model,
        edition=number,
        metric__in={claim.metric for claim in claims},
        unit__revision__in=[one.pk for one in chosen],
        **({} if band is None else {"elevation": band}),
    )
    about = _About(
        pump_model,
        revisions,
        blocks,
        rig_labels(blocks),
        entered,
        Margins(),
        elevation,
        number,
        moment,
        ground,
    )
    rows = [row for claim in claims for row in _rows(about, claim, chosen)]
    return {
        "model": pump_model.name,
        "claims": rows,
        **stamped,
        "says": dated(_says(pump_model, claims, rows), moment),
        "cautions": [*cautions.CLAIMS, *cautions.again(moment)],
    }


def _rows(about: _About, claim: Claim, chosen: list[Revision]) -> Iterator[dict[str, Any]]:
    for place, revision in enumerate(about.revisions):
        if revision not in chosen:
            continue
        if claim.relation != SAME_AS_BEFORE:
            yield _of_value(about, claim, revision)
        elif place:
            yield _as_before(about, claim, about.revisions[place - 1], revision)
        elif len(chosen) == 1:  # else the builds after it tell
            yield _with_nothing_before(about, claim, revision)


def _claimed(about: _About, claim: Claim, revision: Revision) -> dict[str, Any]:
    """What was claimed, where it was read, which clinic entered it and when."""
    entered = about.entered.get(claim.pk)
    return {
        **{name: getattr(claim, name) for name in CLAIMED if name != "value"},
        "value": None if claim.relation == SAME_AS_BEFORE else claim.value,
        "entered_by": claim.said_by.clinic.code if claim.said_by else None,
        "entered_at": entered.isoformat(timespec="seconds") if entered else None,
        "revision": revision.label,
        "against": None,
    }


def _of_value(about: _About, claim: Claim, revision: Revision) -> dict[str, Any]:
    blocks = [block for block in about.blocks if _is_meant(block, claim, revision)]
    shown = _claimed(about, claim, revision)
    judged = judge_claim(claim, blocks, about.margins)
    if judged is None:
        row = {
            **shown,
            **_EMPTY,
            **_counts(blocks),
            "metric_unit": claim.unit,
            "setting": None,
            "verdict": NOT_MEASURED,
        }
        return {**row, "says": _row_says(row)}
    setting = judged.block.setting.named(about.rigs)
    row = {
        **shown,
        **_EMPTY,
        **judged.figures,
        **_counts([judged.block]),
        "missing": judged.missing,
        "setting": {name: setting[name] for name in PLACE},
    }
    return {**row, "says": _row_says(row)}


def _is_meant(block: Block, claim: Claim, revision: Revision) -> bool:
    """Whether a claim about a build speaks of these summaries."""
    given = {name: getattr(claim, name) for name in AT if getattr(claim, name)}
    at = all(getattr(block.setting, name).casefold() == of.casefold() for name, of in given.items())
    return at and (block.revision, block.setting.metric) == (revision.pk, claim.metric)


def _counts(blocks: Sequence[Block]) -> dict[str, int]:
    return {f"{name}s": len(distinct(blocks, name)) for name in ("unit", "clinic")}


def _as_before(about: _About, claim: Claim, before: Revision, revision: Revision) -> dict[str, Any]:
    """The claim that a revision does what the one before it did, by their comparison."""
    found = answer_comparison(
        about.pump_model.name,
        before.label,
        revision.label,
        mode=claim.mode or None,
        level=claim.level or None,
        programme=claim.programme or None,
        metric=claim.metric,
        elevation=about.elevation,
        edition=about.edition,
        as_of=about.moment,
        ground=about.ground,
    )
    settings = found["settings"]
    verdict = _VERDICTS.get(found["verdict"], UNDECIDED) if settings else NOT_MEASURED
    deciding = [row for row in settings if _VERDICTS.get(row["verdict"]) == verdict]
    missing = _lacking(deciding, all_of_them=verdict == "upheld")
    if missing:
        verdict = UNDECIDED
    risks = [row["p_same"] if verdict == "upheld" else row["p_different"] for row in settings]
    told = [risk for risk in risks if risk is not None]
    risk = (max if verdict == "upheld" else min)(told, default=None)
    row = {
        **_claimed(about, claim, revision),
        **_EMPTY,
        "against": before.label,
        "units": max((row["units_new"] for row in settings), default=0),
        "clinics": max((row["clinics_new"] for row in settings), default=0),
        "metric_unit": claim.unit,
        "setting": None,
        "verdict": verdict,
        "missing": missing,
        "risk": figure(risk) if verdict in _VERDICTS.values() else None,
    }
    needed = f" No verdict on so little: needs {missing}." if missing else ""
    # The row tells no time, which its document does, so that a table of past rows is the table of then.
    undated = found["says"].removesuffix(dated(".", about.moment))
    compared = f"{undated.removeprefix(f'{about.pump_model.name}, ')}."
    about_it = f"Revision {revision.label}, {claim_in_words(row)}: {verdict}"
    return {**row, "says": f"{about_it}; {compared}{needed}"}


def _with_nothing_before(about: _About, claim: Claim, revision: Revision) -> dict[str, Any]:
    """The claim that a build does what the one before did, of the first there is."""
    row = {
        **_claimed(about, claim, revision),
        **_EMPTY,
        **_counts([block for block in about.blocks if _is_meant(block, claim, revision)]),
        "metric_unit": claim.unit,
        "setting": None,
        "verdict": NOT_MEASURED,
        "missing": "a revision before it",
    }
    return {**row, "says": f"Revision {revision.label}, {claim_in_words(row)}: no revision came before it."}


def _lacking(rows: Sequence[Mapping[str, Any]], *, all_of_them: bool) -> str:
    """What the settings that decide lack for a verdict: all have to carry `upheld`, one `not upheld`."""
    found = [
        lacking(
            min(row["units_old"], row["units_new"]),
            min(row["clinics_old"], row["clinics_new"]),
        )
        for row in rows
    ]
    lack = sorted(filter(None, found))
    return lack[-1] if lack and (all_of_them or len(lack) == len(found)) else ""


def claim_in_words(row: Mapping[str, Any]) -> str:
    """The claim: "peak vacuum at least 220 mmHg at expression 5"."""
    where = told_setting(row)
    level = "" if row["mode"] or row["programme"] else "level "
    at = f" at {level}{where}" if where else ""
    if row["relation"] == SAME_AS_BEFORE:
        return f"{in_words(row['metric'])} same as before{at}"
    unit = "" if row["unit"] == "1" else f" {row['unit']}"
    return f"{in_words(row['metric'])} {row['relation']} {row['value']:g}{unit}{at}"


def _row_says(row: Mapping[str, Any]) -> str:
    """One claim about one build in one line."""
    about = f"Revision {row['revision']}, {claim_in_words(row)}"
    if row["verdict"] == NOT_MEASURED:
        return f"{about}: not measured in a way that could decide it."
    unit = "" if row["metric_unit"] in ("", "1") else f" {row['metric_unit']}"
    typical = rounded_within(row["centre"], row["low"], row["high"])
    if row["probability"] is None:
        return f"{about}: undecided, needs {row['missing']}; the typical unit has {typical}{unit}."
    share = f"{in_a_hundred(row['probability'], 'about ')} units conform"
    risk = "" if row["risk"] is None else f" (risk of being wrong {_as_risk(row['risk'])})"
    needs = f", needs {row['missing']}" if row["missing"] else ""
    return f"{about}: {row['verdict']}{risk}{needs}; the typical unit has {typical}{unit}, {share}."


def _as_risk(risk: float) -> str:
    """A risk in per cent. Nothing measured carries less than a thousandth, whatever a formula gives."""
    return "below 0.1 %" if risk < 0.001 else f"{100 * risk:.2g} %"


def _says(pump_model: PumpModel, claims: list[Claim], rows: list[dict[str, Any]]) -> str:
    if not claims:
        return f"{pump_model.name}: no claim is in the catalogue."
    if len(rows) == 1:
        return f"{pump_model.name}: {rows[0]['says']}"
    failing = [row for row in rows if row["verdict"] == "not upheld"]
    worst = f" {failing[0]['says']}" if failing else ""
    if len(claims) == 1 and 1 < len(rows) <= _NAMED:
        each = ", ".join(f"revision {row['revision']} {row['verdict']}" for row in rows)
        return f"{pump_model.name}, {claim_in_words(rows[0])}: {each}.{worst}"
    counts = Counter(row["verdict"] for row in rows)
    told = [f"{counts[v]} {v}" for v in ("not upheld", "upheld", "undecided", NOT_MEASURED) if counts[v]]
    asked = f"{counted(len(claims), 'claim')} over {counted(len({r['revision'] for r in rows}), 'revision')}"
    return f"{pump_model.name}, {asked}: {', '.join(told) or 'nothing to judge'}.{worst}"

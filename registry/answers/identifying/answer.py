"""Which revision is the pump in hand, by anything known of it, and what to ask next. Stores nothing."""

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

import numpy as np

from registry.answers import cautions
from registry.answers.blocks import summary_blocks
from registry.answers.identifying.bench import weigh_traces
from registry.answers.identifying.next_evidence import next_question, passed_over
from registry.answers.identifying.pieces import (
    Builds,
    Piece,
    checked,
    firmware_piece,
    mark_pieces,
    purchase_piece,
    serial_piece,
)
from registry.answers.identifying.telling import (
    chances_document,
    piece_document,
    says_identified,
    told_verdict,
)
from registry.answers.identifying.traces import METRICS, Stock, Trace, measure_all
from registry.answers.stamp import current_edition, stamp
from registry.errors import Fault, Invalid
from registry.models import Operator, Rig
from registry.models.lookup import find_pump_model
from registry.statistics.posterior import Band, Verdict, judge, posterior, prior_of, weigh
from registry.statistics.robust import Floats


def answer_identification(  # noqa: PLR0913 - one parameter a kind of evidence
    model: str,
    *,
    serial: str | None = None,
    marks: Sequence[str] = (),
    firmware: str | None = None,
    purchased: date | None = None,
    traces: Sequence[Trace] = (),
    skipped: Sequence[str] = (),
    operator: Operator | None = None,
) -> dict[str, Any]:
    """Return the `identifications` document.

    Any mixture of evidence counts: a serial, marks in plain words, a firmware tag, the day of purchase, and
    traces with their settings, which are measured by the gauges of `operator`'s clinic. `revisions` gives
    each revision's probability (null: none of the listed ones), by Bayes' theorem from equal chances;
    `evidence` what each piece weighs, in words; `next` the one question or setting that would tell most, null
    where the matter is settled or nothing would help. `verdict` names a revision from 80 % up, and else says
    `cannot tell`, as it does where only settings speak that too few units or clinics measured. `skipped` are
    questions not to be put: serial, firmware, setting, or a mark's name.

    The number of queries depends on what is given alone, not on what is stored. Raises UnknownPumpModel,
    Invalid on the field at fault, and what measuring a trace raises.
    """
    builds = _builds(model)
    unasked = passed_over(builds, skipped)
    edition = current_edition()
    stamped = stamp(edition)
    recorded = measure_all(traces, operator)
    stock = _stock(builds, edition)
    bench = weigh_traces(builds, stock, recorded)
    pieces = [*_said(builds, serial, marks, firmware, purchased), *bench.pieces]
    chances = posterior(builds.prior, [piece.logs for piece in pieces if piece.logs is not None])
    verdict = _verdict(builds, pieces, chances)
    following = None
    if not verdict.is_sure:
        following = next_question(builds, stock, pieces, bench, chances, unasked)
    return {
        "model": builds.model.name,
        "verdict": told_verdict(builds, verdict),
        "named": _named(builds, verdict),
        "revisions": chances_document(builds, chances),
        "evidence": [piece_document(builds, piece, chances) for piece in pieces],
        "next": following.document() if following else None,
        **stamped,
        "says": says_identified(builds, verdict, chances, pieces, following.ask if following else None),
        "cautions": [*bench.cautions, *cautions.IDENTIFICATIONS],
    }


def _builds(model: str) -> Builds:
    pump_model = find_pump_model(model)
    revisions = tuple(pump_model.revisions.all())
    if not revisions:
        raise Invalid(
            f"No revision of {pump_model.name} is declared, so there is nothing to tell apart",
            hint="A curator declares revisions under [[pump_model.revision]] in the catalogue.",
            faults=(Fault("has no revisions", field="model"),),
        )
    return Builds(pump_model, revisions, prior_of(len(revisions)))


def _said(
    builds: Builds, serial: str | None, marks: Sequence[str], firmware: str | None, purchased: date | None
) -> list[Piece]:
    """What was said of the pump, piece by piece; blanks are nothing."""
    pieces: list[Piece] = []
    made: Mapping[str, Any] = {}
    if serial and serial.strip():
        pieces.append(serial_piece(builds, checked("serial", serial)))
        made = pieces[0].more.get("made") or {}
    pieces += mark_pieces(builds, marks)
    if firmware and firmware.strip():
        pieces.append(firmware_piece(builds, checked("firmware", firmware)))
    if purchased is not None:
        pieces.append(purchase_piece(builds, purchased, made))
    return pieces


def _stock(builds: Builds, edition: int) -> Stock:
    """What was measured of the model's revisions: two queries."""
    blocks = summary_blocks(pump_model=builds.model, edition=edition, metric__in=METRICS)
    rigs = Rig.objects.in_bulk({block.setting.rig for block in blocks})
    return Stock.of([revision.pk for revision in builds.revisions], blocks, rigs)


def _verdict(builds: Builds, pieces: Sequence[Piece], chances: Floats) -> Verdict:
    """Judge by all evidence, and by what is not thin for the likeliest hypothesis."""
    top = int(np.argmax(chances))
    counted = [(piece.logs, piece.is_thin_for(top)) for piece in pieces if piece.logs is not None]
    firm = posterior(builds.prior, [logs for logs, is_thin in counted if not is_thin])
    # A serial that names a revision says something even where there is but one, which is likely anyway.
    named = any(piece.kind == "serial" and piece.logs is not None for piece in pieces)
    says = named or any(weigh(logs, chances).band is not Band.LITTLE for logs, _ in counted)
    return judge(chances, firm, says_anything=says)


def _named(builds: Builds, verdict: Verdict) -> str | None:
    if verdict.place is None or verdict.place == len(builds.revisions):
        return None
    return builds.labels[verdict.place]

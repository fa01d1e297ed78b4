"""Corrections of the catalogue: a curator proposes, another confirms; until then nothing changes."""

from collections.abc import Mapping
from typing import Any

from django.db import transaction
from django.utils import timezone

from registry.alerts.listed import settle_listed
from registry.alerts.tasks import want_checks
from registry.errors import Conflict, DomainError, Fault, Invalid, NotFound, NotPermitted, ProposalStale
from registry.intake.catalogue import changing
from registry.intake.correcting import PARTS, apply_change
from registry.intake.effects import effects_since, mark
from registry.models import Operator, Proposal, ProposalState, PumpModel
from registry.models.lookup import find_pump_model

_LONGEST_WHY = 500
Entry = Mapping[str, Any]


def propose(operator: Operator, model_name: str, change: Entry) -> Proposal:
    """Store a correction of one pump model for another curator to confirm; nothing else changes.

    `change` holds any of
      revisions:      [{label, order?, firmware?, marks?}]   new ones, or stored ones that change; a new one
                      without order comes last
      spans:          [{revision, first, last, basis, source}]   to bring
      dropped_spans:  [{revision, first, last, basis}]   stored ones to take away
      schemes:        [{pattern, order, date?, plant?, era?}]   replace those of the model
    and `why`, which is needed. The proposal's `foreseen` says what it would change now. Raises NotPermitted
    for who is no curator, UnknownPumpModel, Invalid, SpansOverlap, and Conflict when it would change nothing.
    """
    _check_curator(operator)
    model = find_pump_model(model_name, "pump_model")
    why = " ".join(str(change.get("why", "")).split())[:_LONGEST_WHY]
    if not why:
        raise Invalid(
            "why: is needed",
            hint="Say in a few words why the catalogue is wrong; it stays on record.",
            faults=(Fault("is needed", field="why"),),
        )
    kept = {part: change[part] for part in PARTS if change.get(part)}
    version, foreseen = _foresee(model, kept, operator)
    if not foreseen["changes"]:
        raise Conflict(
            f"The catalogue of {model.name} says this already",
            hint="Nothing is left to propose; look at it with GET pump-models.",
        )
    return Proposal.objects.create(
        pump_model=model,
        change=kept,
        why=why,
        catalogue_version=version,
        foreseen=foreseen,
        proposed_by=operator,
    )


def foresee(proposal: Proposal) -> dict[str, Any]:
    """Return what an open proposal would change now; raises ProposalStale when it applies no more."""
    try:
        return _foresee(proposal.pump_model, proposal.change, proposal.proposed_by)[1]
    except DomainError as error:
        raise _stale(proposal, error) from error


def confirm(proposal_id: int, operator: Operator) -> Proposal:
    """Apply a proposal: its spans are stored, units resolved, and runs judged again, all of it or nothing.

    Raises NotFound; NotPermitted for who is no curator, or proposed it; Conflict when it is decided already;
    ProposalStale when the catalogue changed since so that it applies no more. Confirming it again by the same
    curator gives the same proposal.
    """
    _check_curator(operator)
    model = _found(proposal_id).pump_model
    with changing([model.name], operator=operator.handle, proposal=proposal_id):
        proposal = _locked(proposal_id)
        if proposal.state == ProposalState.CONFIRMED and proposal.decided_by_id == operator.pk:
            return proposal
        _check_open(proposal)
        if proposal.proposed_by_id == operator.pk:
            raise NotPermitted(
                "Whoever proposed a correction cannot confirm it",
                hint="Ask another curator to look at it and confirm it; you may reject it yourself.",
            )
        model.refresh_from_db()
        begun = mark()
        try:
            changes, gauges = apply_change(model, proposal.change, proposal.proposed_by)
        except DomainError as error:
            raise _stale(proposal, error) from error
        proposal.done = effects_since(begun, model, changes, proposal.change.get("spans") or ())
        _decide(proposal, ProposalState.CONFIRMED, operator, "")
        settle_listed(proposal.pk)
        want_checks(gauges)
    return proposal


def reject(proposal_id: int, operator: Operator, why: str) -> Proposal:
    """Turn a proposal down for a reason; any curator may, also the one who proposed it.

    Raises NotFound, NotPermitted, Invalid without a reason, Conflict when it is decided already.
    """
    _check_curator(operator)
    why = " ".join(why.split())[:_LONGEST_WHY]
    if not why:
        raise Invalid(
            "reason: is needed",
            hint="Say in a few words what speaks against it; it stays on record.",
            faults=(Fault("is needed", field="reason"),),
        )
    with transaction.atomic():
        proposal = _locked(proposal_id)
        _check_open(proposal)
        _decide(proposal, ProposalState.REJECTED, operator, why)
    return proposal


def _foresee(model: PumpModel, change: Entry, operator: Operator) -> tuple[int, dict[str, Any]]:
    """Apply a change, look at what it did, and take all of it back; uploads for the model wait meanwhile."""
    with transaction.atomic():
        with changing([model.name], operator=operator.handle):
            model = PumpModel.objects.get(pk=model.pk)  # the caller's own is not to keep what is taken back
            version, begun = model.catalogue_version, mark()
            changes, _ = apply_change(model, change, operator)
            told = effects_since(begun, model, changes, change.get("spans") or ())
        transaction.set_rollback(True)
    return version, told


def _found(proposal_id: int) -> Proposal:
    found = Proposal.objects.select_related("pump_model").filter(pk=proposal_id).first()
    if found is None:
        raise NotFound(f"There is no proposal {proposal_id}", hint="Look at GET /api/v1/proposals.")
    return found


def _locked(proposal_id: int) -> Proposal:
    locked = Proposal.objects.select_for_update(of=("self",)).select_related(
        "pump_model", "proposed_by", "decided_by"
    )
    found = locked.filter(pk=proposal_id).first()
    return found if found is not None else _found(proposal_id)


def _decide(proposal: Proposal, state: ProposalState, operator: Operator, why: str) -> None:
    proposal.state, proposal.decided_by, proposal.decided_why = state, operator, why
    proposal.decided_at = timezone.now()
    proposal.save(update_fields=["state", "decided_by", "decided_at", "decided_why", "done"])


def _check_curator(operator: Operator) -> None:
    if not operator.is_curator:
        raise NotPermitted("This needs the curator role.", hint="Ask a curator.")


def _check_open(proposal: Proposal) -> None:
    if proposal.state != ProposalState.OPEN:
        by = proposal.decided_by.handle if proposal.decided_by else "somebody"
        raise Conflict(
            f"Proposal {proposal.pk} is {proposal.state} already, by {by}",
            hint="Nothing is left to do; propose anew if it is still wrong.",
        )


def _stale(proposal: Proposal, error: DomainError) -> ProposalStale:
    return ProposalStale(
        f"Proposal {proposal.pk} does not apply to the catalogue any more: {error.detail}",
        hint="Reject it, look at the spans as they are now, and propose anew what is still wrong.",
        faults=error.faults,
    )

"""The form by which a curator lists a revision from the alert that told of it."""

from typing import Any, Final

from django import forms

from registry.alerts import unlisted
from registry.alerts.listed import PROPOSED
from registry.alerts.listing import list_revision
from registry.errors import Invalid
from registry.models import Alert, Operator, Proposal, ProposalState
from registry.plaintext import NAME_RULE, is_name

MOST_MARKS: Final = 50
_MARK, _VALUE = 40, 120  # the longest name and value of a mark


class RevisionForm(forms.Form):
    """What the new revision is called, as the API takes it; marks stand one in a line as NAME=VALUE."""

    label = forms.CharField(max_length=40)
    order = forms.IntegerField(min_value=1, max_value=9999, required=False)
    marks = forms.CharField(max_length=MOST_MARKS * (_MARK + _VALUE), required=False)
    basis = forms.ChoiceField(choices=[("observed", ""), ("declared", "")], required=False)

    def clean_label(self) -> str:
        """Return the label. Raises ValidationError for what is no name."""
        label: str = self.cleaned_data["label"]
        if not is_name(label):
            raise forms.ValidationError(NAME_RULE)
        return label

    def clean_marks(self) -> dict[str, str]:
        """Return marks by name. Raises ValidationError naming the line that is none."""
        lines = [line.strip() for line in self.cleaned_data["marks"].splitlines() if line.strip()]
        marks = dict(_mark(line) for line in lines)
        if len(marks) < len(lines) or len(marks) > MOST_MARKS:
            raise forms.ValidationError(f"each mark stands there once, and at most {MOST_MARKS} are taken")
        return marks

    def clean_basis(self) -> str:
        """Return the basis of the new spans."""
        return self.cleaned_data["basis"] or "observed"

    def propose(self, alert_id: int, operator: Operator) -> bool:
        """Propose the revision; False, with the fault at its field, where the form or the registry refuses.

        Raises what `list_revision` raises for an alert from which none can be listed.
        """
        if not self.is_valid():
            return False
        try:
            list_revision(alert_id, operator, **self.cleaned_data)
        except Invalid as error:
            named = [fault for fault in error.faults if fault.field in self.fields]
            if not named:
                raise
            for fault in named:
                self.add_error(fault.field, fault.message)
            return False
        return True


def _mark(line: str) -> tuple[str, str]:
    name, _, value = (part.strip() for part in line.partition("="))
    if not (name and value and len(name) <= _MARK and len(value) <= _VALUE and is_name(name + value)):
        raise forms.ValidationError(f"'{line[:60]}' is no mark: write NAME=VALUE, such as housing=amber")
    return name, value


def listed_from(alert: Alert) -> dict[str, Any] | None:
    """The open proposal that lists a revision from an alert: its number, label, and what it would change."""
    said = alert.evidence.get(PROPOSED)
    found = Proposal.objects.filter(pk=said["proposal"], state=ProposalState.OPEN).first() if said else None
    if found is None:
        return None
    return {"number": found.pk, "label": said["revision"], "says": found.foreseen["says"]}


def lists_revision(alert: Alert) -> bool:
    """Whether a revision can be listed from an open alert; not while another proposal does."""
    return alert.rule == unlisted.RULE.name and listed_from(alert) is None

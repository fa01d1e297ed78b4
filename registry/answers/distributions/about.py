"""What a pump model is called, and its revisions, as cells name them."""

from dataclasses import dataclass

from registry.models import PumpModel


@dataclass(frozen=True)
class About:
    """A pump model's key and name, and the labels of its revisions by key, in order."""

    pk: int
    name: str
    revisions: dict[int, str]


def about_model(model: PumpModel) -> About:
    """Return what there is to say of a pump model. One query unless its revisions are known."""
    return About(model.pk, model.name, {one.pk: one.label for one in model.revisions.all()})

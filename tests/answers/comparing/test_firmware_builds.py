"""Where firmware is compared, the builds it comes with are named as far as they differ."""

from datetime import timedelta
from functools import partial

import pytest
from django.apps import apps
from django.utils import timezone

from registry.answers.comparing.comparisons import answer_comparison
from registry.answers.comparing.sides import find_sides
from registry.answers.comparing.swaps import answer_swap
from registry.answers.comparing.unlike import of_builds
from tests import factories
from tests.answers.comparing.test_comparisons import both

pytestmark = pytest.mark.django_db
ANSWERS = (answer_comparison, partial(answer_swap, part="protector"))
BLUNT = "what builds differ by is part of every difference here"


@pytest.fixture
def model():
    """Build A ran firmware 1.1, build B 1.2; the catalogue lists neither."""
    made = factories.pump_model()
    both(made, 240, 232)
    for unit in made.units.all():
        run = factories.run(unit)
        tag = "1.1" if unit.revision.label == "A" else "1.2"
        type(run).objects.filter(pk=run.pk).update(firmware=tag)
    return made


def listed(model, *tags: list[str]) -> None:
    for label, of in zip("AB", tags, strict=True):
        model.revisions.filter(label=label).update(firmware=of)


def cautions_of(answer, *sides: str) -> str:
    return " ".join(answer("Lapwing One", *sides)["cautions"])


@pytest.mark.parametrize("answer", ANSWERS)
@pytest.mark.parametrize(
    ("tags", "told"),
    [
        ((["1.1"], ["1.2"]), "firmware 1.1 comes with revision A and firmware 1.2 comes with revision B"),
        ((["1.1"], ["1.1", "1.2"]), "firmware 1.1 comes with revisions A, B and firmware 1.2 comes with"),
        (([], ["1.2"]), "firmware 1.1 comes with no revision and firmware 1.2 comes with revision B"),
    ],
)
def test_builds_that_firmwares_come_with_are_named(model, answer, tags, told) -> None:
    listed(model, *tags)
    said = cautions_of(answer, "firmware:1.1", "firmware:1.2")
    assert f"By the catalogue {told}" in said
    assert BLUNT in said


def test_a_firmware_against_a_build_it_does_not_only_come_with(model) -> None:
    listed(model, ["1.1"], ["1.1", "1.2"])
    said = cautions_of(answer_comparison, "A", "firmware:1.2")
    assert "By the catalogue firmware 1.2 comes with revision B: what" in said
    assert BLUNT not in cautions_of(answer_comparison, "B", "firmware:1.2")


def test_a_past_time_goes_by_the_catalogue_of_then(model) -> None:
    listed(model, ["1.1"], ["1.2"])
    events = apps.get_model("registry", "RevisionEvent").objects
    events.update(pgh_created_at=timezone.now() - timedelta(days=2))
    listed(model, ["1.1", "1.2"], [])
    sides = find_sides(model, "firmware:1.1", "firmware:1.2")
    (then,) = of_builds(sides, timezone.now() - timedelta(days=1))
    assert "firmware 1.1 comes with revision A and firmware 1.2 comes with revision B" in then
    assert of_builds(sides) == of_builds(sides, timezone.now() - timedelta(days=3)) == []


@pytest.mark.parametrize("answer", ANSWERS)
def test_nothing_is_said_of_firmwares_of_the_same_builds_or_of_builds(model, answer) -> None:
    listed(model, ["1.1", "1.2"], [])
    assert BLUNT not in cautions_of(answer, "firmware:1.1", "firmware:1.2")
    assert BLUNT not in cautions_of(answer, "A", "B")

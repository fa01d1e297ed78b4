"""Distributions are narrowed down by what a person types, in whatever form."""

import pytest

from registry.answers.distributions.answer import answer_distributions
from registry.answers.filters import chosen_level
from registry.answers.served.ahead import make_ahead
from registry.intake.provenance import understand
from tests import factories
from tests.answers.distributions.test_distributions import bench

pytestmark = pytest.mark.django_db


@pytest.fixture
def model():
    return factories.pump_model()


def test_narrowing_down(model) -> None:
    bench(model)
    bench(model, "B", start=50_000, level="4")
    assert len(answer_distributions("lapwing one", revision="b")["cells"]) == 1
    assert len(answer_distributions("Lapwing One", level=4)["cells"]) == 1
    assert len(answer_distributions("Lapwing One", mode="Expression", metric="peak_vacuum")["cells"]) == 2
    assert len(answer_distributions("Lapwing One", power="mains", programme="")["cells"]) == 2


def test_a_model_nobody_measured_is_not_known(model) -> None:
    nothing = answer_distributions("Lapwing One", level="9")
    assert nothing["cells"] == []
    assert nothing["says"] == "Lapwing One: no accepted runs match; nothing is known here yet."


@pytest.mark.parametrize(
    ("asked", "instead"),
    [
        ({"level": "9"}, "none has level 9; there are 3, 4, 10"),
        ({"mode": "stimulation", "level": "3"}, "none has mode stimulation; there is expression"),
        ({"revision": "B", "level": "3"}, "none has level 3; there is 4"),
        ({"rig": "domed"}, "none has rig 'domed'; there is"),
        ({"power": "battery"}, "none has power battery; there is mains"),
        ({"metric": "duty_factor"}, "none has metric duty factor; there is peak vacuum"),
        ({"programme": "soft"}, "none has programme soft; there is without a programme"),
        ({"revision": "C"}, "none has revision C; there are A, B"),
    ],
)
def test_where_nothing_fits_what_there_is_is_told(model, asked, instead) -> None:
    """A mistyped level must not read as if nobody had measured the pump."""
    bench(model)
    bench(model, level="10", start=20_000)
    bench(model, "B", start=50_000, level="4")
    model.revisions.create(label="C", order=3)
    nothing = answer_distributions("Lapwing One", **asked)
    assert nothing["cells"] == []
    assert instead in nothing["says"]
    make_ahead(calm_s=0)
    assert answer_distributions("Lapwing One", **asked)["says"] == nothing["says"]


@pytest.mark.parametrize("level", ["low", "LOW", " Low "])
def test_a_level_in_words_is_found_however_it_is_typed(model, level) -> None:
    bench(model, level="low")
    assert len(answer_distributions("Lapwing One", level=level)["cells"]) == 1


@pytest.mark.parametrize("level", [3, 3.0, "3", "3.0", " 3.00 "])
def test_a_numbered_level_is_found_however_it_is_typed(model, level) -> None:
    bench(model)
    bench(model, level="30", start=50_000)
    assert [c["level"] for c in answer_distributions("Lapwing One", level=level)["cells"]] == ["3"]


@pytest.mark.parametrize("level", ["LOW", 3.0, 3, "3.0", "2.50", " a  b ", "1.0x", "010.0"])
def test_a_level_is_read_as_it_is_when_a_run_is_received(level) -> None:
    said = understand({"pump_model": "x", "serial": "1", "mode": "expression", "level": level})
    assert chosen_level(level) == said.level


def test_a_programme_is_found_in_any_case_and_none_is_not_all(model) -> None:
    bench(model, programme="Boost")
    bench(model)
    assert [c["programme"] for c in answer_distributions("Lapwing One", programme=" bOOST ")["cells"]] == [
        "Boost"
    ]
    assert [c["programme"] for c in answer_distributions("Lapwing One", programme="")["cells"]] == [""]
    assert len(answer_distributions("Lapwing One")["cells"]) == 2

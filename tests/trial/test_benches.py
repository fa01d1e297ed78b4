"""The trial of benches, in short."""

import pytest

from tests.trial.benches import KINDS, tally


@pytest.mark.parametrize("kind", ["own units only", "5 % wild units", "sent round, set-ups scatter by 3 %"])
def test_offsets_are_as_sure_as_stated(kind: str) -> None:
    held, width, error = tally(KINDS[kind], 25, seed=3)
    assert held.size >= 60
    assert held.mean() >= 0.88
    assert error < 0.4 * width


def test_units_that_travel_make_them_sharper() -> None:
    widths = [tally(KINDS[kind], 25, seed=4)[1] for kind in ("own units only", "one unit a build sent round")]
    assert widths[1] < 0.97 * widths[0]

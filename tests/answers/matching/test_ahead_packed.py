"""Parts as they are kept hold all that was packed, wherever they lie in memory."""

import numpy as np
import pytest

from registry.answers.matching.ahead import nothing_ahead
from registry.answers.matching.ahead_packed import packed, unpacked
from tests.answers.matching.places import METRICS, ahead_at


@pytest.mark.parametrize("levels", [1, 2, 7])
@pytest.mark.parametrize("metrics", [METRICS, METRICS[:1]])
def test_what_is_unpacked_is_what_was_packed(levels, metrics) -> None:
    ahead = ahead_at(4, levels, metrics)
    ahead.links[0, levels - 1] = np.arange(6.0).reshape(2, 3)
    found = unpacked(packed(ahead))
    assert (found.places, found.metrics) == (ahead.places, ahead.metrics)
    for name in ("figures", "together", "counts"):
        assert np.array_equal(getattr(found, name), getattr(ahead, name))
        assert getattr(found, name).dtype == getattr(ahead, name).dtype
    assert found.links.keys() == ahead.links.keys()
    assert np.array_equal(found.links[0, levels - 1], ahead.links[0, levels - 1])


def test_names_beyond_ascii_and_arrays_begin_where_numbers_may_lie() -> None:
    ahead = ahead_at(4, 1)
    (place,) = ahead.places
    for name in ("é", "éa", "éab", "éabc"):
        named = type(place)(place.place, name, place.revision, place.rig)
        body = packed(type(ahead)((named,), *list(vars(ahead).values())[1:6]))
        assert unpacked(body).places == (named,)
        assert len(body) % 8 == 0


def test_nothing_is_packed_as_nothing() -> None:
    assert unpacked(packed(nothing_ahead())).places == ()

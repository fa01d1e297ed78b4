"""Checks are strict where there are communities enough, and allow for chance where there are few."""

import pytest

from tests.trial.report import Check, Section


@pytest.mark.parametrize(
    ("share", "communities", "held"),
    [
        (0.95, 2000, True),
        (0.929, 2000, False),
        (0.971, 1000, False),
        (0.929, 100, True),
        (0.84, 100, False),
        (0.99, 40, True),
        (0.85, 40, True),
        (0.80, 40, False),
    ],
)
def test_a_promise_is_held_strictly_from_a_thousand_communities_on(share, communities, held) -> None:
    assert Check("coverage", share, 0.93, 0.97, communities).is_held is held


def test_a_section_tells_its_checks() -> None:
    section = Section("Title", ("what",), [("row",)], [Check("coverage", 0.92, 0.93, 0.97)])
    assert "coverage: 92.0 % (93.0 % to 97.0 %) NOT AS PROMISED" in section.text()
    assert "as promised" in section.of(100).text()
    assert "NOT" not in section.of(100).text()

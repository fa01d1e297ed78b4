"""Chance is counted over all that is judged: stored judgements, with what a look says in their place."""

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from registry.alerts.families import Chances
from registry.alerts.judgements import CALM, keep
from registry.alerts.verdicts import Rule, Standing, Verdict

pytestmark = pytest.mark.django_db
GAUGES, UNITS = Rule("gauge_off", 1, "gauge"), Rule("unit_off", 1, "unit")


def said(chances: dict[str, float | None]) -> list[Verdict]:
    return [Verdict(subject, Standing.OFF, 0.1, p, "says") for subject, p in chances.items()]


def drawn(rule: Rule, size: int, seed: int) -> dict[str, float | None]:
    """Chances as there are where nothing is the matter, with a few small ones, and some that are none."""
    rng = np.random.default_rng(seed)
    found: dict[str, float | None] = {f"{rule.subject_kind}/{k}": p for k, p in enumerate(rng.random(size))}
    few = {f"{rule.subject_kind}/{k}": 10.0**-k for k in range(2, min(size, 6))}
    return {**found, **few, f"{rule.subject_kind}/none": None}


@pytest.mark.parametrize("sizes", [(3, 7), (12, 60), (40, 300)])
def test_what_a_look_says_counts_as_if_it_were_stored(sizes: tuple[int, int]) -> None:
    """Of some subjects both are there, of others only one."""
    rules = GAUGES, UNITS
    first = [drawn(rule, size, 1) for rule, size in zip(rules, sizes, strict=True)]
    anew = [
        dict(list(drawn(rule, size + 2, 2).items())[::2]) for rule, size in zip(rules, sizes, strict=True)
    ]
    keep([(rule, said(chances)) for rule, chances in zip(rules, first, strict=True)], timezone.now())
    look = Chances()
    for rule, chances in zip(rules, anew, strict=True):
        look.put(rule, said(chances))
    found = look.family(rules)
    keep([(rule, said(chances)) for rule, chances in zip(rules, anew, strict=True)], timezone.now())
    stored = Chances().family(rules)
    for rule, before, now in zip(rules, first, anew, strict=True):
        for p in (before | now).values():
            shares = found.share(rule, p), stored.share(rule, p)
            assert shares[0] == shares[1] or min(shares) > CALM


@pytest.mark.parametrize("others", range(1, 60, 7))
def test_the_share_of_a_chance_is_its_own_whatever_the_sizes(others: int) -> None:
    """Not that of the next larger one, or of none, for a rounding of the last digit."""
    keep([(GAUGES, said({"gauge": 3e-7}))], timezone.now())
    keep([(UNITS, said({f"unit/{k}": 0.9 for k in range(others)}))], timezone.now())
    assert Chances().family([GAUGES, UNITS]).share(GAUGES, 3e-7) == pytest.approx(6e-7)


def test_what_is_stored_is_read_once_a_look() -> None:
    keep([(GAUGES, said(drawn(GAUGES, 30, 1))), (UNITS, said(drawn(UNITS, 90, 1)))], timezone.now())
    look = Chances()
    look.family([GAUGES, UNITS])
    with CaptureQueriesContext(
        connection,
    ) as asked:
        look.family([GAUGES, UNITS])
        look.put(UNITS, said({"unit/1": 1e-4}))
        look.family([GAUGES, UNITS])
    assert len(asked) == 1, "only what was stored of the unit that is judged anew"

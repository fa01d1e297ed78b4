"""Random questions of each kind over one kept-alive connection, in turns with bare health requests."""

import random
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
import requests

Query = dict[str, str | int]
_MODES = ("stimulation", "expression")
_METRICS = ("cycle_rate", "peak_vacuum", "residual_vacuum", "mean_vacuum", "duty_factor", "hold_time")
_WARMING = 12
# A kind of question that takes long is asked less often, but never less than so many times.
_MOST, _LEAST, _SECONDS = 160, 25, 5.0


@dataclass(frozen=True)
class Kind:
    """A kind of question: where it is asked, what it narrows down to for a pump model, and how many cells it
    takes in, `cells` being a condition on the measurement rows with the same parameters."""

    name: str
    path: str
    query: Callable[[random.Random], Query]
    cells: str

    def asked(self, chance: random.Random, models: range) -> Query:
        """The parameters of one question, about a random model."""
        return {"model": f"Model {chance.choice(models)}", **self.query(chance)}


def _cell(chance: random.Random) -> Query:
    setting: Query = {"mode": chance.choice(_MODES), "level": chance.randint(1, 5)}
    return {"revision": chance.choice("AB"), **setting, "metric": chance.choice(_METRICS)}


def _need(chance: random.Random) -> Query:
    low = chance.randint(120, 240)
    return {"rate": f"{chance.randint(60, 80)}..", "vacuum": f"{low}..{low + 40}"}


def _like(chance: random.Random) -> Query:
    return {"like": f"{chance.choice('AB')}:{chance.choice(_MODES)}:{chance.randint(1, 5)}"}


_MAIN = "m.metric IN ('cycle_rate', 'peak_vacuum', 'residual_vacuum')"
_NEED = "m.metric IN ('cycle_rate', 'peak_vacuum')"
_ONE = "v.label = %(revision)s AND r.mode = %(mode)s AND r.level = %(level)s::text AND m.metric = %(metric)s"
KINDS = (
    Kind("distribution, one cell", "distributions", _cell, _ONE),
    Kind(
        "distribution, one metric", "distributions",
        lambda chance: {"metric": chance.choice(_METRICS)}, "m.metric = %(metric)s",
    ),
    Kind(
        "distribution, one build", "distributions",
        lambda chance: {"revision": chance.choice("AB")}, "v.label = %(revision)s",
    ),
    Kind("distribution, whole model", "distributions", lambda chance: {}, "true"),
    Kind("comparison", "comparisons", lambda chance: {"old": "A", "new": "B"}, _MAIN),
    Kind(
        "comparison, all metrics", "comparisons",
        lambda chance: {"old": "A", "new": "B", "metric": "all"}, "true",
    ),
    Kind("settings by need", "settings-matches", _need, _NEED),
    Kind("settings like another", "settings-matches", _like, _NEED),
)  # fmt: skip
# What quantiles of the raw measurements take: the least a registry without summaries would have to do.
PEER = """
SELECT v.label, r.mode, r.level, m.metric, count(*),
       percentile_cont(ARRAY[.1, .25, .5, .75, .9]) WITHIN GROUP (ORDER BY m.value)
FROM registry_run r
JOIN registry_pumpmodel p ON p.id = r.pump_model_id JOIN registry_unit u ON u.id = r.unit_id
JOIN registry_revision v ON v.id = u.revision_id JOIN registry_measurement m ON m.run_id = r.id
WHERE p.name = %(model)s AND r.state = 'accepted' AND m.edition_id = 1 AND {cells}
GROUP BY v.label, r.mode, r.level, m.metric
"""


@dataclass(frozen=True)
class Times:
    """Milliseconds of the questions of a kind, and of the health requests made in turns with them."""

    asked: list[float]
    health: list[float]

    def ours(self, percent: float = 95) -> float:
        """A percentile of the questions."""
        return float(np.percentile(self.asked, percent))

    def bare(self, percent: float = 95) -> float:
        """A percentile of the health requests."""
        return float(np.percentile(self.health, percent))


def ask(address: str, kind: Kind, models: range) -> Times:
    """Ask about random models; what the first few take does not count."""
    chance = random.Random(20060)
    times = Times([], [])
    with requests.Session() as session:
        began = time.perf_counter()
        while len(times.asked) < _WARMING + _MOST:
            spent = time.perf_counter() - began
            if len(times.asked) >= _WARMING + _LEAST and spent > _SECONDS:
                break
            times.health.append(_timed(session, f"{address}/api/v1/health", {}))
            query = kind.asked(chance, models)
            times.asked.append(_timed(session, f"{address}/api/v1/{kind.path}", query))
    return Times(times.asked[_WARMING:], times.health[_WARMING:])


def _timed(session: requests.Session, url: str, query: Mapping[str, str | int]) -> float:
    """Milliseconds until the whole answer is there."""
    request = session.prepare_request(requests.Request("GET", url, params=query))
    start = time.perf_counter()
    answer = session.send(request)
    spent = 1e3 * (time.perf_counter() - start)
    if answer.status_code != 200:
        raise RuntimeError(f"not an answer: {answer.text[:300]}")
    return spent

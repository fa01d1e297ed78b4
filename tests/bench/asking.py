"""Random questions of each kind over one kept-alive connection, in turns with bare health requests.

Each is asked where no answer to it is kept: once of a model that is calm, of which workers have made ahead
what answers are made of, and then again; and once more just after a change of the model was counted, as by an
upload, so that nothing made before is good any more. Where a kind has too few questions for all to be new,
the kept answers are dropped beforehand.
"""

import random
import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

import numpy as np
import psycopg
import requests

Query = dict[str, str | int]
_MODES = ("stimulation", "expression")
_METRICS = ("cycle_rate", "peak_vacuum", "residual_vacuum", "mean_vacuum", "duty_factor", "hold_time")
_BUILDS: Query = {"old": "A", "new": "B"}
_WARMING = 12
# A kind of question that takes long is asked less often, but never less than so many times.
_MOST, _LEAST, _SECONDS = 120, 25, 5.0
_TRIES = 20


@dataclass(frozen=True)
class Kind:
    """A kind of question: where it is asked, what it narrows down to for a pump model, and how many cells it
    takes in, `cells` being a condition on the measurement rows with the same parameters; empty where no
    measurements are asked for. `of_all` is about every pump instead of one."""

    name: str
    path: str
    query: Callable[[random.Random], Query]
    cells: str
    of_all: bool = False

    def asked(self, chance: random.Random, models: range) -> Query:
        """The parameters of one question, about a random model."""
        about: Query = {} if self.of_all else {"model": f"Model {chance.choice(models)}"}
        return {**about, **self.query(chance)}

    @property
    def peer(self) -> str:
        """The statement on measurement rows of the same cells."""
        return PEER.format(models="true" if self.of_all else "p.name = %(model)s", cells=self.cells)


def _cell(chance: random.Random) -> Query:
    setting: Query = {"mode": chance.choice(_MODES), "level": chance.randint(1, 5)}
    return {"revision": chance.choice("AB"), **setting, "metric": chance.choice(_METRICS)}


def _need(chance: random.Random) -> Query:
    low = chance.randint(120, 240)
    return {"rate": f"{chance.randint(60, 80)}..", "vacuum": f"{low}..{low + 40}"}


def _need_of_three(chance: random.Random) -> Query:
    return {**_need(chance), "residual_vacuum": f"..{chance.randint(20, 40)}"}


def _wide_need(chance: random.Random) -> Query:
    """What nearly every setting does."""
    return {"rate": f"{chance.randint(5, 40)}..", "hold_time": f"..{chance.randint(300, 900) / 1000}"}


def _need_of_nothing(chance: random.Random) -> Query:
    """What no setting was measured for, so that it is said what there is."""
    return {**_need(chance), "programme": f"P{chance.randint(1, 999)}"}


def _like_of_one(chance: random.Random) -> Query:
    return {**_like(chance), "like_model": f"Model {chance.randint(2, 4)}"}


def _like(chance: random.Random) -> Query:
    return {"like": f"{chance.choice('AB')}:{chance.choice(_MODES)}:{chance.randint(1, 5)}"}


def _unit(chance: random.Random) -> Query:
    return {"old": f"unit:LK{chance.randint(1, 60):06d}", "new": chance.choice("AB")}


def _narrowed(chance: random.Random) -> Query:
    setting: Query = {"mode": chance.choice(_MODES), "level": chance.randint(1, 5)}
    margins: Query = {"vacuum_margin": chance.randint(5, 30), "rate_margin": chance.randint(2, 10)}
    return {**_BUILDS, **setting, **margins}


def _serials(chance: random.Random) -> Query:
    first = chance.randint(1, 60)
    return {"first": f"LK{first:06d}", "last": f"LK{first + chance.randint(0, 40):06d}"}


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
    Kind("comparison", "comparisons", lambda chance: _BUILDS, _MAIN),
    Kind(
        "comparison, all metrics", "comparisons",
        lambda chance: {**_BUILDS, "metric": "all"}, "true",
    ),
    Kind(
        "comparison, narrowed", "comparisons", _narrowed,
        f"r.mode = %(mode)s AND r.level = %(level)s::text AND {_MAIN}",
    ),
    Kind("comparison of a unit with a build", "comparisons", _unit, _MAIN),
    Kind(
        "comparison of firmwares", "comparisons",
        lambda chance: {"old": "firmware:1.0", "new": "firmware:1.1"}, _MAIN,
    ),
    Kind(
        "part swap", "part-swaps",
        lambda chance: {**_BUILDS, "part": "valve", "old_part": "duckbill", "new_part": "membrane"}, _MAIN,
    ),
    Kind("settings by need", "settings-matches", _need, _NEED),
    Kind("settings like another", "settings-matches", _like, _NEED),
    Kind("settings by need, all pumps", "settings-matches", _need, _NEED, of_all=True),
    Kind("settings by need of three metrics", "settings-matches", _need_of_three, _MAIN),
    Kind(
        "settings by need of three metrics, all pumps", "settings-matches", _need_of_three, _MAIN,
        of_all=True,
    ),
    Kind(
        "settings by a wide need, all pumps", "settings-matches", _wide_need,
        "m.metric IN ('cycle_rate', 'hold_time')", of_all=True,
    ),
    Kind("settings like another, all pumps", "settings-matches", _like_of_one, _NEED, of_all=True),
    Kind(
        "settings of no programme there is, all pumps", "settings-matches", _need_of_nothing, "",
        of_all=True,
    ),
    Kind("serials", "serials", _serials, ""),
)  # fmt: skip
# What quantiles of the raw measurements take: the least a registry without summaries would have to do.
PEER = """
SELECT v.label, r.mode, r.level, m.metric, count(*),
       percentile_cont(ARRAY[.1, .25, .5, .75, .9]) WITHIN GROUP (ORDER BY m.value)
FROM registry_run r
JOIN registry_pumpmodel p ON p.id = r.pump_model_id JOIN registry_unit u ON u.id = r.unit_id
JOIN registry_revision v ON v.id = u.revision_id JOIN registry_measurement m ON m.run_id = r.id
WHERE {models} AND r.state = 'accepted' AND m.edition_id = 1 AND {cells}
GROUP BY v.label, r.mode, r.level, m.metric
"""


# What an upload to the model does to answers that are kept.
_CHANGED = """
INSERT INTO registry_changecount AS counted (scope, backend, n, changed_at)
SELECT id, -1, 1, now() FROM registry_pumpmodel WHERE name = %s
ON CONFLICT (scope, backend) DO UPDATE SET n = counted.n + 1, changed_at = now()
"""


# Of every pump, an upload to one of them.
_CHANGED_ONE = _CHANGED.replace("name = %s", "name = 'Model 2'")
_DROPPED = "DELETE FROM registry_keptanswer"


@dataclass(frozen=True)
class Times:
    """Milliseconds of the questions of a kind, and of the health requests made in turns with them."""

    asked: list[float]
    health: list[float]


def p95(times: list[float]) -> float:
    """The 95th percentile."""
    return float(np.percentile(times, 95))


def _counted(times: Times) -> Times:
    """Without those that warm up."""
    return Times(times.asked[_WARMING:], times.health[_WARMING:])


class Asker:
    """Asks one server; remembers what it asked, so that first is first."""

    def __init__(self, address: str, database: psycopg.Connection) -> None:
        self._address = address
        self._database = database
        self._asked: set[tuple[object, ...]] = set()
        self._session = requests.Session()

    def ask_calm(self, kind: Kind, models: range) -> tuple[Times, Times]:
        """Ask about random models of which nothing changed since parts were made ahead: first, and again."""
        first, again = Times([], []), Times([], [])
        for query in self._questions(kind, models, first):
            for times in (first, again):
                self._take(times, kind.path, query)
        return _counted(first), _counted(again)

    def ask_changed(self, kind: Kind, models: range) -> Times:
        """Ask about random models to which something was uploaded a moment ago. Workers go on meanwhile."""
        times = Times([], [])
        for query in self._questions(kind, models, times):
            if kind.of_all:
                self._database.execute(_CHANGED_ONE)
            else:
                self._database.execute(_CHANGED, [query["model"]])
            self._take(times, kind.path, query)
        return _counted(times)

    def _questions(self, kind: Kind, models: range, times: Times) -> Iterator[Query]:
        """Random questions to which no answer is kept, until enough are timed."""
        chance = random.Random(20060)
        began = time.perf_counter()
        while len(times.asked) < _WARMING + _MOST:
            spent = time.perf_counter() - began
            if len(times.asked) >= _WARMING + _LEAST and spent > _SECONDS:
                return
            yield self._new(kind, chance, models)

    def _take(self, times: Times, path: str, query: Query) -> None:
        # An answer is kept when it has been sent; what comes at once on the same connection waits for that.
        self._timed("health", {})
        times.health.append(self._timed("health", {}))
        times.asked.append(self._timed(path, query))

    def _new(self, kind: Kind, chance: random.Random, models: range) -> Query:
        """A question to which no answer is kept."""
        for _ in range(_TRIES):
            query = kind.asked(chance, models)
            if (known := (kind.path, *sorted(query.items()))) not in self._asked:
                self._asked.add(known)
                return query
        self._database.execute(_DROPPED)
        self._asked.clear()
        return query

    def _timed(self, path: str, query: Mapping[str, str | int]) -> float:
        """Milliseconds until the whole answer is there."""
        url = f"{self._address}/api/v1/{path}"
        request = self._session.prepare_request(requests.Request("GET", url, params=query))
        start = time.perf_counter()
        answer = self._session.send(request)
        spent = 1e3 * (time.perf_counter() - start)
        if answer.status_code != 200:
            raise RuntimeError(f"not an answer: {answer.text[:300]}")
        return spent

"""Which part of a piece of work takes how much of its time: functions are timed where they are looked up."""

import time
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from typing import Any
from unittest.mock import patch


class Parts:
    """Time by part; what a part spends in another one counts for that other one."""

    def __init__(self) -> None:
        self.spent_s: dict[str, float] = defaultdict(float)
        self._within: list[float] = []

    def timed(self, name: str, work: Callable[..., Any]) -> Callable[..., Any]:
        """The same function, timed under a name."""

        def timing(*args: Any, **named: Any) -> Any:
            begun = time.perf_counter()
            self._within.append(0.0)
            try:
                return work(*args, **named)
            finally:
                spent = time.perf_counter() - begun
                self.spent_s[name] += spent - self._within.pop()
                if self._within:
                    self._within[-1] += spent

        return timing

    @contextmanager
    def watching(self, module: Any, names: Iterable[str], rules: Any) -> Iterator[None]:
        """Time functions of a module, and every rule of `registry.alerts.rules`, while this lasts."""
        with ExitStack() as patched:
            for name in names:
                patched.enter_context(patch.object(module, name, self.timed(name, getattr(module, name))))
            for among in ("COMMUNITY", "OF_MODEL"):
                watched = [
                    replace(one, judge=self.timed(one.rule.name, one.judge)) for one in getattr(rules, among)
                ]
                patched.enter_context(patch.object(rules, among, tuple(watched)))
            yield

    def shares(self) -> dict[str, float]:
        """Each part's share of all time spent, the largest first."""
        total = sum(self.spent_s.values())
        return {name: spent / total for name, spent in sorted(self.spent_s.items(), key=lambda one: -one[1])}

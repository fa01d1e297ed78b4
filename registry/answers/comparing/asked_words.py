"""What a question about two sides narrows down to, and what was measured, by the same words."""

from collections.abc import Iterable, Mapping
from typing import Any

from registry.answers.blocks import Block
from registry.answers.unmatched import Rows

_FILTERS = {
    "mode": "mode",
    "programme__iexact": "programme",
    "level": "level",
    "metric": "metric",
    "power": "power",
    "elevation": "elevation",
}


def asked_words(where: Mapping[str, Any]) -> dict[str, str]:
    """The words of filters on UnitSummary as `narrowing.narrowed` makes them, in the order they are told.

    The metric is one where one alone is asked for.
    """
    metrics = where["metric__in"]
    given = {**where, **({"metric": metrics[0]} if len(metrics) == 1 else {})}
    return {word: given[name] for name, word in _FILTERS.items() if name in given}


def words_in(blocks: Iterable[Block], labels: Mapping[int, str]) -> Rows:
    """What summaries are of, each setting and metric once; a rig that has no label has no word."""
    settings = dict.fromkeys(block.setting for block in blocks)
    return Rows([{**one._asdict(), "rig": labels.get(one.rig, "")} for one in settings])

"""Main metrics and all others are kept apart in parts, since mostly the former alone are asked for."""

from registry.answers.narrowing import MAIN_METRICS
from registry.waveform.editions import edition_of

MAIN, REST = GROUPS = ("main", "rest")


def group_of(metric: str) -> str:
    """The group that a metric is kept in."""
    return MAIN if metric in MAIN_METRICS else REST


def metrics_of(group: str, edition: int) -> list[str]:
    """The metrics of an edition that are kept in a group."""
    return [metric for metric in edition_of(edition).metrics if group_of(metric) == group]

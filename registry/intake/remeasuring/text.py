"""The report of an edition as plain text."""

from registry.intake.remeasuring.report import MetricChange, Report, StateChange

_HEADS = (
    "metric",
    "runs",
    "moved",
    "gained",
    "lost",
    "median",
    "largest",
    "med. %",
    "max. %",
    "med. u",
    "max. u",
)


def report_text(found: Report) -> str:
    """Return the report as lines: counts, a table of metrics, what is held and set free, and a caution."""
    lines = [
        f"Edition {found.edition} against {found.against}: {found.measured} of {found.runs} runs measured",
        f"under both, withdrawn ones apart; {found.left} left to measure.",
        *(f"  cannot be measured ({code}): {count}" for code, count in found.unmeasured.items()),
        "",
        *_table([_HEADS, *(_row(metric) for metric in found.metrics)]),
        "",
        _sentence("held", "by", found.held),
        _sentence("set free", "held before by", found.freed),
        "Changes are over the runs that moved; u is the old standard uncertainty. Gauges count as they are",
        "declared now, so what was declared of them since the upload moves values too.",
    ]
    return "\n".join(lines)


def _row(metric: MetricChange) -> tuple[str, ...]:
    counts = (metric.runs, metric.moved, metric.gained, metric.lost)
    changes = (
        metric.median_change,
        metric.largest_change,
        metric.median_percent,
        metric.largest_percent,
        metric.median_in_u,
        metric.largest_in_u,
    )
    name = f"{metric.metric} ({metric.unit})"
    return (name, *map(str, counts), *("-" if value is None else f"{value:.3g}" for value in changes))


def _table(rows: list[tuple[str, ...]]) -> list[str]:
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return ["  ".join([row[0].ljust(widths[0]), *map(str.rjust, row[1:], widths[1:])]) for row in rows]


def _sentence(what: str, by: str, change: StateChange) -> str:
    why = ", ".join(f"{code} {count}" for code, count in change.why.items())
    return f"{change.runs} runs are {what}" + (f", {by} {why}." if why else ".")

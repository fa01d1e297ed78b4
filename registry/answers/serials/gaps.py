"""What would fill a stretch of serials of which the revision is not known."""

from registry.statistics.spans import SubSpan


def what_would_fill(span: SubSpan, middle: str | None) -> str | None:
    """Return what is missing for an unknown stretch, in words; None for a known one.

    `middle` is a serial half way through, where one can be spelled.
    """
    if span.revision is not None:
        return None
    if span.conflicts:
        return "sources disagree here; look at the marks again, and have the wrong word corrected"
    if span.units:
        return "pumps were measured here and nobody said which revision they are; say it by their marks"
    return _at_a_border(span, f", best about {middle}" if middle else "")


def _at_a_border(span: SubSpan, about: str) -> str:
    """What would narrow down where one build ends and another begins."""
    if span.before and span.after:
        from_here = f"a pump from here{about}, or the maker's word, would tell"
        if span.before == span.after:
            return f"{from_here} whether {span.before} goes on"
        return f"somewhere here {span.before} becomes {span.after}; {from_here} where"
    if span.before or span.after:
        end = f"after the last {span.before}" if span.before else f"before the first {span.after}"
        return f"nothing is known {end}; a pump from here, or the maker's word, would tell"
    return "nothing is known near it; a pump from here, or the maker's word, would tell"

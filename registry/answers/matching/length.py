"""How many settings an answer lists."""

from registry.errors import Fault, Invalid

# One pump's settings are listed whole, as a rule. Of every pump's, and of those like another one, nobody
# tries more than a few one by one.
MOST, FEW = 200, 25


def chosen_most(most: int | None, *, searching: bool) -> int:
    """Return how many settings are listed: as many as asked for, else FEW where a question is `searching`
    among many, else MOST.

    Raises Invalid on `most` below 1 or beyond MOST.
    """
    if most is None:
        return FEW if searching else MOST
    if not 1 <= most <= MOST:
        raise Invalid(
            f"{most} settings cannot be listed at once",
            hint=f"Ask for 1 to {MOST}.",
            faults=(Fault(f"is not from 1 to {MOST}", field="most"),),
        )
    return most


def worked_out(most: int) -> int:
    """Return how many settings to work out: what is said in words must not go by how many are listed."""
    return max(most, FEW)

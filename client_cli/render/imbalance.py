"""How unlike the two sides of a double pump pull, in words."""

from collections.abc import Mapping
from typing import Any

from rich.console import Console

from client_cli.numbers import is_number, with_uncertainty
from client_cli.render.console import can_show, heading
from client_cli.text import clean

_COVERS = 2.0  # standard uncertainties within which a difference may well be none
_WORDS = {
    "cycle_rate": ("faster", "slower"),
    "peak_vacuum": ("stronger at its peaks", "weaker at its peaks"),
    "residual_vacuum": ("higher between its peaks", "lower between its peaks"),
    "mean_vacuum": ("stronger on average", "weaker on average"),
}


def show_imbalance(console: Console, imbalance: Mapping[str, Any]) -> None:
    """A sentence for each difference, left less right; nothing when there are none."""
    if not imbalance:
        return
    heading(console, "Left beside right")
    for metric, quantity in sorted(imbalance.items(), key=lambda item: item[0] == "phase"):
        text = sentence(metric, quantity)
        console.print(clean(text if can_show(console, text) else text.replace("±", "+/-")))


def sentence(metric: str, quantity: Mapping[str, Any]) -> str:
    """One difference in words; within two standard uncertainties it is said not to be told from none."""
    value, u, unit = quantity.get("value"), quantity.get("uncertainty"), quantity.get("unit", "")
    name = metric.replace("_", " ")
    if not is_number(value):
        return f"{name}: not known"
    size = f"{with_uncertainty(abs(value), u)} {unit}"
    is_told = is_number(u) and abs(value) > _COVERS * u
    if metric == "phase":
        first, then = ("left", "right") if value > 0 else ("right", "left")
        return (
            f"The {then} side pulls {size} after the {first}." if is_told else f"Both pull together ({size})."
        )
    if not is_told:
        return f"{name}: no difference that can be told from none ({with_uncertainty(value, u)} {unit})."
    above, below = _WORDS.get(metric, ("above", "below"))
    return f"{name}: the left side is {above if value > 0 else below} by {size}."

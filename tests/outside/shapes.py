"""Ideal pulses in closed form, and their metrics by the definitions of IEC 60469 / IEEE 181.

Times and the mean are shares of the period and of the swing; the steepest rise is in swings a period. The
standards' definitions are from memory: transitions from 10 % to 90 % of the swing, width and duty at 50 %.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Shape:
    """A pulse over one period from 0 to 1, and what is true of it."""

    name: str
    level: Callable[[Floats], Floats]
    pull: float
    release: float
    hold: float
    duty: float
    mean: float
    steepest: float


def trapezoid(name: str, up: float, top: float, down: float) -> Shape:
    """A straight rise, a hold, a straight fall, then rest."""
    knots, levels = [0.0, up, up + top, up + top + down, 1.0], [0.0, 1.0, 1.0, 0.0, 0.0]
    width = top + (up + down) / 2
    return Shape(
        name,
        lambda phase: np.interp(phase, knots, levels),
        pull=0.8 * up,
        release=0.8 * down,
        hold=top + 0.1 * (up + down),
        duty=width,
        mean=width,
        steepest=1 / up,
    )


def half_sine(width: float) -> Shape:
    """Half a sine over a share of the period, then rest."""
    flank = width * (math.asin(0.9) - math.asin(0.1)) / math.pi
    return Shape(
        "half sine",
        lambda phase: np.where(phase < width, np.sin(np.pi * np.minimum(phase, width) / width), 0.0),
        pull=flank,
        release=flank,
        hold=width * (1 - 2 * math.asin(0.9) / math.pi),
        duty=width * 2 / 3,
        mean=width * 2 / math.pi,
        steepest=math.pi / width,
    )


def sine() -> Shape:
    """A whole sine, from trough to trough: a raised cosine."""
    flank = math.asin(0.8) / math.pi
    return Shape(
        "sine",
        lambda phase: 0.5 - 0.5 * np.cos(2 * np.pi * phase),
        pull=flank,
        release=flank,
        hold=math.acos(0.8) / math.pi,
        duty=0.5,
        mean=0.5,
        steepest=math.pi,
    )


def exponential(turn: float, up: float, down: float) -> Shape:
    """Charging with the constant `up` until `turn`, then discharging with `down`, each to its very end."""
    full, empty = -math.expm1(-turn / up), -math.expm1(-(1 - turn) / down)

    def rise_to(share: float) -> float:
        return -up * math.log1p(-share * full)

    def fall_to(share: float) -> float:
        return -down * math.log1p(-(1 - share) * empty)

    def level(phase: Floats) -> Floats:
        falling = 1 + np.expm1(-(phase - turn) / down) / empty
        return np.where(phase < turn, -np.expm1(-phase / up) / full, falling)

    above = {share: turn - rise_to(share) + fall_to(share) for share in (0.5, 0.9)}
    filled = (turn - up * full) / full
    left = (1 - turn) - ((1 - turn) - down * empty) / empty
    return Shape(
        "exponential",
        level,
        pull=rise_to(0.9) - rise_to(0.1),
        release=fall_to(0.1) - fall_to(0.9),
        hold=above[0.9],
        duty=above[0.5],
        mean=filled + left,
        steepest=1 / (up * full),
    )


# With a hold, or a round top: levels have no corner for noise and sampling to hide.
ROUNDED: Sequence[Shape] = (
    trapezoid("trapezoid", 0.2, 0.3, 0.1),
    trapezoid("narrow", 0.1, 0.05, 0.1),
    trapezoid("wide", 0.1, 0.7, 0.1),
    trapezoid("slow rise, quick fall", 0.6, 0.05, 0.05),
    trapezoid("quick rise, slow fall", 0.05, 0.05, 0.6),
    half_sine(0.6),
    sine(),
    exponential(0.5, 0.08, 0.05),
)
# The whole swing turns in one point.
CORNERED: Sequence[Shape] = (
    trapezoid("triangle", 0.4, 0.0, 0.6),
    trapezoid("sawtooth up", 0.6, 0.0, 0.04),
    trapezoid("sawtooth down", 0.06, 0.0, 0.54),
)

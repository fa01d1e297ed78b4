"""The highest or lowest level of a folded cycle, averaged over forms it may have there, see `shape`."""

from math import inf, log, sqrt

import numpy as np

from registry.waveform.compiled import Rows, compiled
from registry.waveform.types import Floats

from .order import first_from
from .patches import FEWEST, REACHES

# Forms of a window: level, line, parabola, two lines that meet in a knot, two parabolas that do.
TERMS = np.array([1, 2, 3, 3, 5])
PARABOLA, TWO_LINES, TWO_PARABOLAS = 2, 3, 4
PENALTY = 7.0  # chi-square that a term has to earn: Schwarz (1978), for the thousand samples near an extreme
NEGLIGIBLE = 12.0  # chi-square by which a form or a knot is too unlikely to count
EXCESS = 3.0  # standard deviations of chi-square allowed for the likeliest form of a window that serves
KNOTS, CLOSER = 5, 4  # places all over a window that are tried for the knot; halvings of their distance after
UNLIKE_REACHES = 1  # by how many steps reaches to left and right differ, save for those close by
RIGHT, HALF, FOUND, BASIS, SPARE, POINTS, WHOLE, AFTER = range(8)  # rows of the room to work in
MOMENTS = 9  # sums kept of bins: w x^k (0..4), w x^k y (0..2), w y^2


@compiled
def neighbours(smooth: Floats, start: int, side: int, depth: float) -> int:
    """How many bins to one side of `start` lie within a depth of it, no more than the furthest reach."""
    furthest = min(REACHES[-1], (smooth.size - 1) // 2)
    count = 0
    while count < furthest:
        if not abs(smooth[(start + side * (count + 1)) % smooth.size] - smooth[start]) < depth:
            break
        count += 1
    return count


@compiled
def moments(
    at: Floats, level: Floats, weight: Floats, period: float, first: int, count: int, start: int
) -> tuple[Floats, Rows]:
    """(x in periods from bin `start`, running sums from 0) of `count` bins from `first`, laps counted."""
    x, sums = np.empty(count), np.zeros((count + 1, MOMENTS))
    for row in range(count):
        lap = (first + row) // at.size
        place = first + row - lap * at.size
        x[row] = (at[place] - at[start]) / period + lap
        y, power = level[place] - level[start], weight[place]
        for order in range(5):
            sums[row + 1, order] = sums[row, order] + power
            if order < 3:
                sums[row + 1, 5 + order] = sums[row, 5 + order] + power * y
            power *= x[row]
        sums[row + 1, 8] = sums[row, 8] + weight[place] * y * y
    return x, sums


@compiled
def fill_normal(whole: Floats, after: Floats, k: float, form: int, normal: Rows, right: Floats) -> None:
    """Normal equations (lower half) of a form with its knot at x = k; `after` sums the bins behind it.

    Terms are 1, x, x^2 and, with u = x - k behind the knot and 0 before, u and u^2.
    """
    for row in range(3):
        right[row] = whole[5 + row]
        for column in range(row + 1):
            normal[row, column] = whole[row + column]
    if form < TWO_LINES:
        return
    spot = 2 if form == TWO_LINES else 3
    for row in range(spot):
        normal[spot, row] = after[row + 1] - k * after[row]
    squared = after[2] + k * (k * after[0] - 2 * after[1])
    normal[spot, spot] = squared
    right[spot] = after[6] - k * after[5]
    if form == TWO_PARABOLAS:
        normal[4, 0] = squared
        normal[4, 1] = after[3] + k * (k * after[1] - 2 * after[2])
        normal[4, 2] = after[4] + k * (k * after[2] - 2 * after[3])
        normal[4, 3] = after[3] + k * (3 * k * after[1] - 3 * after[2] - k * k * after[0])
        fourth = 6 * after[2] - 4 * k * after[1] + k * k * after[0]
        normal[4, 4] = after[4] + k * (k * fourth - 4 * after[3])
        right[4] = after[7] + k * (k * after[5] - 2 * after[6])


@compiled
def forward(lower: Rows, given: Floats, terms: int, half: Floats) -> float:
    """Solve lower * half = given; the sum of squares of the solution."""
    square = 0.0
    for row in range(terms):
        left = given[row]
        for column in range(row):
            left -= lower[row, column] * half[column]
        half[row] = left / lower[row, row]
        square += half[row] * half[row]
    return square


@compiled
def factorise(normal: Rows, terms: int, lower: Rows) -> bool:
    """Cholesky's factor of a symmetric matrix. False where its terms cannot be told apart."""
    for row in range(terms):
        for column in range(row + 1):
            left = normal[row, column]
            for step in range(column):
                left -= lower[row, step] * lower[column, step]
            if column < row:
                lower[row, column] = left / lower[column, column]
            elif left > 1e-11 * normal[row, row]:
                lower[row, row] = sqrt(left)
            else:
                return False
    return True


@compiled
def solve_back(lower: Rows, half: Floats, terms: int, found: Floats) -> None:
    """Solve transpose(lower) * found = half."""
    for row in range(terms - 1, -1, -1):
        left = half[row]
        for below in range(row + 1, terms):
            left -= lower[below, row] * found[below]
        found[row] = left / lower[row, row]


@compiled
def fill_basis(x: float, k: float, form: int, basis: Floats) -> None:
    """The terms of a form at x."""
    beyond = max(x - k, 0.0)
    basis[0], basis[1], basis[2] = 1.0, x, x * x
    if form == TWO_LINES:
        basis[2] = beyond
    elif form == TWO_PARABOLAS:
        basis[3], basis[4] = beyond, beyond * beyond


@compiled
def turning_points(found: Floats, k: float, form: int, ends: tuple[float, float], points: Floats) -> int:
    """Put where a form can have its extreme into `points`: ends, knot, vertices. How many there are."""
    points[0], points[1] = ends
    count = 2
    if form >= TWO_LINES:
        points[count] = k
        count += 1
    if form in (PARABOLA, TWO_PARABOLAS) and found[2] != 0:
        vertex = -found[1] / (2 * found[2])
        if ends[0] < vertex < (k if form == TWO_PARABOLAS else ends[1]):
            points[count] = vertex
            count += 1
    if form == TWO_PARABOLAS and found[2] + found[4] != 0:
        vertex = (2 * k * found[4] - found[1] - found[3]) / (2 * (found[2] + found[4]))
        if k < vertex < ends[1]:
            points[count] = vertex
            count += 1
    return count


@compiled
def extreme(
    lower: Rows, room: Rows, k: float, form: int, ends: tuple[float, float], sign: int
) -> tuple[float, float]:
    """(value, variance) of a fitted form's highest (sign 1) or lowest (-1) point.

    A point counts by its value less its standard error, since ends are known least.
    """
    value, variance, best = 0.0, inf, -inf
    terms, points = TERMS[form], room[POINTS]
    for number in range(turning_points(room[FOUND], k, form, ends, points)):
        fill_basis(points[number], k, form, room[BASIS])
        level = 0.0
        for term in range(terms):
            level += room[FOUND, term] * room[BASIS, term]
        unsure = forward(lower, room[BASIS], terms, room[SPARE])
        if sign * level - sqrt(unsure) > best:
            value, variance, best = level, unsure, sign * level - sqrt(unsure)
    return value, variance


@compiled
def try_form(
    x: Floats, sums: Rows, window: tuple[int, int], k: float, form: int, prior: float, sign: int, most: float,
    scratch: tuple[Rows, Rows, Rows], entry: Floats,
) -> tuple[float, float]:  # fmt: skip
    """(penalised chi-square, chi-square) of a form in the bins window[0]..window[1] - 1; inf where unknown.

    `entry` takes the first (inf above `most`), the extreme and its variance. `prior` is what the knot's place
    counts against.
    """
    first, last = window
    normal, lower, room = scratch
    whole, after, terms = room[WHOLE], room[AFTER], TERMS[form]
    behind = first_from(x, k) if form >= TWO_LINES else first
    for order in range(MOMENTS):
        whole[order] = sums[last, order] - sums[first, order]
        after[order] = sums[last, order] - sums[behind, order]
    fill_normal(whole, after, k, form, normal, room[RIGHT])
    if not factorise(normal, terms, lower):
        entry[0] = inf
        return inf, inf
    left = whole[8] - forward(lower, room[RIGHT], terms, room[HALF])
    score = left + PENALTY * terms + prior
    entry[0] = inf
    if score <= most:
        solve_back(lower, room[HALF], terms, room[FOUND])
        entry[0] = score
        entry[1], entry[2] = extreme(lower, room, k, form, (x[first], x[last - 1]), sign)
    return score, left


@compiled
def window_forms(
    x: Floats, sums: Rows, window: tuple[int, int], sign: int, scratch: tuple[Rows, Rows, Rows], weighed: Rows
) -> tuple[int, float, float]:
    """(entries, least penalised chi-square, least chi-square) of all forms in the bins of a window.

    Rows of `weighed` are entries as `try_form` makes them. A knot may lie anywhere, each place as likely as
    another beforehand; after some places all over the window, closer ones about the likeliest are tried.
    """
    first, last = window
    count, least, closest = 0, inf, inf
    places = max(min(last - first - 4, KNOTS), 1)
    step = (x[last - 3] - x[first + 2]) / max(places - 1, 1)
    for form in range(TERMS.size):
        knots = places if form >= TWO_LINES else 1
        best, at = inf, x[first + 2]
        for number in range(knots):
            k = x[first + 2] + number * step
            prior = 2 * log(knots)
            score, left = try_form(
                x, sums, window, k, form, prior, sign, least + NEGLIGIBLE, scratch, weighed[count]
            )
            closest, least, count = min(closest, left), min(least, score), count + 1
            if left < best:
                best, at = left, k
        if form < TWO_LINES or best + PENALTY * TERMS[form] > least + NEGLIGIBLE:
            continue
        for closer in range(1, CLOSER + 1):
            middle, away = at, step / 2.0**closer
            for side in (-1, 1):
                k = min(max(middle + side * away, x[first + 1]), x[last - 2])
                prior = 2 * log(knots * 2.0**closer)
                score, left = try_form(
                    x, sums, window, k, form, prior, sign, least + NEGLIGIBLE, scratch, weighed[count]
                )
                closest, least, count = min(closest, left), min(least, score), count + 1
                if left < best:
                    best, at = left, k
    return count, least, closest


@compiled
def averaged(weight: Floats, values: Floats, variances: Floats) -> tuple[float, float]:
    """(weighted mean, variance with how far the values lie from it) of what may each be right."""
    total, mean, variance = 0.0, 0.0, 0.0
    for row in range(weight.size):
        total += weight[row]
        mean += weight[row] * values[row]
    mean /= total
    for row in range(weight.size):
        variance += weight[row] * (variances[row] + (values[row] - mean) ** 2)
    return mean, variance / total


@compiled
def extreme_level(
    at: Floats, level: Floats, weight: Floats, smooth: Floats, start: int, sign: int,
    limits: tuple[float, float],
) -> tuple[float, float]:  # fmt: skip
    """(level, standard error) of the high (sign 1) or low (-1) extreme near bin `start`, NaN where unknown.

    `limits` is (period, depth). In each window forms count by how likely they make its bins, and windows by
    the inverse square of the variance that comes of it.
    """
    period, depth = limits
    before, behind = neighbours(smooth, start, -1, depth), neighbours(smooth, start, 1, depth)
    x, sums = moments(at, level, weight, period, start - before, before + behind + 1, start)
    scratch = (np.empty((5, 5)), np.empty((5, 5)), np.empty((8, MOMENTS)))
    weighed, served = np.zeros((3 + 2 * (KNOTS + 2 * CLOSER), 3)), np.empty((REACHES.size**2, 2))
    windows = 0
    for one in range(REACHES.size):
        for two in range(REACHES.size):
            bins = REACHES[one] + REACHES[two] + 1
            if REACHES[one] > before or REACHES[two] > behind or bins < FEWEST:
                continue
            if abs(one - two) > UNLIKE_REACHES and min(one, two) > 1:
                continue
            first, last = before - REACHES[one], before + REACHES[two] + 1
            count, least, closest = window_forms(x, sums, (first, last), sign, scratch, weighed)
            freedom = bins - 3.0
            if not closest < freedom + EXCESS * sqrt(2 * freedom):
                continue
            likely = np.exp(0.5 * (least - weighed[:count, 0]))
            pair = averaged(likely, weighed[:count, 1].copy(), weighed[:count, 2].copy())
            served[windows, 0], served[windows, 1] = pair
            windows += 1
    if windows == 0:
        return np.nan, np.nan
    variance = served[:windows, 1].copy()
    value, unsure = averaged((variance.min() / variance) ** 2, served[:windows, 0].copy(), variance)
    return level[start] + value, sqrt(unsure)

"""Numbers out of text: two columns of a table, and which of their cells are something else."""

from math import nan
from typing import Any

import numpy as np

from registry.waveform.compiled import Indices, Octets, compiled
from registry.waveform.types import Floats

LINE, RETURN, TAB, BLANK, QUOTE, HASH, PERCENT = 10, 13, 9, 32, 34, 35, 37
PLUS, COMMA, MINUS, POINT = 43, 44, 45, 46
MOST_DIGITS = 18  # as many as a 64-bit integer holds; further ones are below the precision of a float
TENS = np.array([float(f"1e{power}") for power in range(23)])  # those a float holds exactly


@compiled
def scaled(mantissa: int, power: int) -> float:
    """mantissa * 10 ** power: to the last bit below 2 ** 53 and within 1e22, else to a few."""
    if mantissa == 0 or power == 0:
        return float(mantissa)
    if 0 < power <= 22:
        return float(mantissa * TENS[power])
    if -22 <= power < 0:
        return float(mantissa / TENS[-power])
    return float(mantissa) * 10.0 ** max(power, -330)


@compiled
def exponent(text: Octets, at: int, end: int) -> tuple[bool, int]:
    """(whether text[at:end] is an exponent such as e-3 or nothing, its value)."""
    if at == end:
        return True, 0
    if text[at] | 32 != 101:
        return False, 0
    at += 1
    below = at < end and text[at] == MINUS
    if at < end and (text[at] == MINUS or text[at] == PLUS):
        at += 1
    power, digits = 0, 0
    while at < end and 48 <= text[at] <= 57:
        power = min(power * 10 + text[at] - 48, 9999)
        digits += 1
        at += 1
    return at == end and digits > 0, -power if below else power


@compiled
def number(text: Octets, at: int, end: int, comma: bool) -> tuple[bool, float]:
    """(whether text[at:end] is a number, its value); `comma` allows decimal commas beside points."""
    below = at < end and text[at] == MINUS
    if at < end and (text[at] == MINUS or text[at] == PLUS):
        at += 1
    mantissa: Any = 0
    power, digits, point, empty = 0, 0, False, True
    while at < end:
        sign = text[at]
        if 48 <= sign <= 57:
            empty = False
            if digits < MOST_DIGITS:
                mantissa = mantissa * 10 + (np.int64(sign) - 48)
                digits += mantissa > 0
                power -= point
            else:
                power += not point
        elif not point and (sign == POINT or (comma and sign == COMMA)):
            point = True
        else:
            break
        at += 1
    good, further = exponent(text, at, end)
    if empty or not good:
        return False, nan
    value = scaled(mantissa, power + further)
    return True, -value if below else value


@compiled
def line_end(text: Octets, at: int) -> int:
    """Where the line that holds `at` ends: at its line feed, or at the end of the text."""
    while at < text.size and text[at] != LINE:
        at += 1
    return at


@compiled
def next_row(text: Octets, at: int, delimiter: int) -> int:
    """Where the next row begins at or after the start of a line: past empty lines and remarks.

    The size of the text where there is none. A remark begins with a hash, though not with several, which are
    an over-range word, or with a per cent sign.
    """
    while at < text.size:
        if 48 <= text[at] <= 57:
            return at
        first = at
        while first < text.size and (text[first] == BLANK or text[first] == RETURN):
            first += 1
        if delimiter != TAB:
            while first < text.size and (text[first] <= BLANK and text[first] != LINE):
                first += 1
        if first >= text.size:
            return text.size
        sign = text[first]
        several = first + 1 < text.size and text[first + 1] == HASH
        if sign not in (LINE, PERCENT) and (sign != HASH or several):
            return at
        at = line_end(text, first) + 1
    return text.size


@compiled
def cell(text: Octets, at: int, delimiter: int) -> tuple[int, int, int]:
    """(start and end of the cell that begins at `at`, without blanks and quotes, and where it is cut off).

    A cell is cut off by a delimiter or the end of the line; blanks as delimiters run together.
    """
    while at < text.size and text[at] != LINE and text[at] <= BLANK and text[at] != delimiter:
        at += 1
    if delimiter == BLANK:
        while at < text.size and (text[at] == BLANK or text[at] == TAB or text[at] == RETURN):
            at += 1
    start = at
    if at < text.size and text[at] == QUOTE and delimiter != BLANK:
        at = start = at + 1
        while at < text.size and text[at] != QUOTE and text[at] != LINE:
            at += 1
        end = at
        while at < text.size and text[at] != delimiter and text[at] != LINE:
            at += 1
    else:
        while at < text.size and text[at] != delimiter and text[at] != LINE:
            if delimiter == BLANK and text[at] < BLANK:
                break
            at += 1
        end = at
    while end > start and text[end - 1] <= BLANK:
        end -= 1
    return start, end, at


@compiled
def grown(odd: Indices) -> Indices:
    """The same with twice the room."""
    more = np.empty(2 * odd.size, dtype=np.intp)
    more[: odd.size] = odd
    return more


@compiled
def plain_rows(  # noqa: C901, PLR0912 - one loop, since calls cost more than the work
    text: Octets, at: int, row: int, delimiter: int, wanted: Indices, times: Floats, values: Floats
) -> tuple[int, int]:
    """Fill in rows of digits, points and minus signs, as most are: (first other row, where it begins)."""
    width, time, vacuum = wanted[0], wanted[1], wanted[2]
    size, begin, column = text.size, at, 0
    while at < size and row < values.size:
        if column in (time, vacuum):
            below = text[at] == MINUS
            at += below
            mantissa: Any = 0
            point, first = -1, at
            while at < size:
                digit = np.int64(text[at]) - 48
                if 0 <= digit <= 9:
                    mantissa = mantissa * 10 + digit
                elif digit == POINT - 48 and point < 0:
                    point = at
                else:
                    break
                at += 1
            if at - first > 16 or at - first <= (point >= 0):
                break
            value = (-mantissa if below else mantissa) / TENS[at - point - 1 if point >= 0 else 0]
            if column == vacuum:
                values[row] = value
            else:
                times[row] = value
        else:
            while at < size and text[at] != delimiter and text[at] > RETURN and text[at] != QUOTE:
                at += 1
        last = column == width - 1
        at += last and at < size and text[at] == RETURN
        if at == size or text[at] != (LINE if last else delimiter):
            break
        at, column = at + 1, column + 1
        if last:
            row, begin, column = row + 1, at, 0
    return row, begin


@compiled
def any_row(
    text: Octets,
    at: int,
    row: int,
    cut: tuple[int, bool],
    wanted: Indices,
    times: Floats,
    values: Floats,
    places: Indices,
) -> tuple[int, int, int, int]:
    """Fill in one row: (its end, its filled cells, start and end of a vacuum cell that is no number)."""
    delimiter, comma = cut
    time, vacuum = wanted[1], wanted[2]
    clock = places.size > 0
    column, filled, odd_start, odd_end = 0, 0, 0, 0
    while True:
        begin, end, at = cell(text, at, delimiter)
        if end > begin:
            filled = column + 1
            if column == vacuum:
                good, values[row] = number(text, begin, end, comma)
                if not good:
                    odd_start, odd_end = begin, end
            elif column == time and clock:
                places[2 * row], places[2 * row + 1] = begin, end
            elif column == time:
                _, times[row] = number(text, begin, end, comma)
        if at >= text.size or text[at] == LINE:
            return at, filled, odd_start, odd_end
        at += 1
        column += 1


@compiled
def columns(
    text: Octets, start: int, most: int, delimiter: int, comma: bool, wanted: Indices, clock: bool
) -> tuple[Floats, Floats, Indices, Indices, Indices]:
    """(times, vacuum, places of clock times, odd cells, a row that is too wide) of at most `most` rows.

    `wanted` is the number of columns and which hold time and vacuum, negative for none. With `clock` the
    start and end of each time in the text are asked for instead of its value. An odd cell of vacuum is
    neither a number nor empty: row, start, end. A row with too many filled cells ends the reading: its
    number, its cells.
    """
    times, values = np.full(0 if clock or wanted[1] < 0 else most, nan), np.full(most, nan)
    places = np.zeros(2 * most if clock else 0, dtype=np.intp)
    odd, count = np.empty(48, dtype=np.intp), 0
    wide = np.empty(0, dtype=np.intp)
    row, at = 0, next_row(text, start, delimiter)
    while at < text.size and row < most:
        if not clock and delimiter != BLANK:
            row, at = plain_rows(text, at, row, delimiter, wanted, times, values)
            at = next_row(text, at, delimiter)
            if at >= text.size or row == most:
                break
            values[row] = nan
            if times.size:
                times[row] = nan
        at, filled, begin, end = any_row(text, at, row, (delimiter, comma), wanted, times, values, places)
        if filled > wanted[0]:
            wide = np.array([row, filled])
            break
        if end > begin:
            odd = grown(odd) if count + 3 > odd.size else odd
            odd[count], odd[count + 1], odd[count + 2] = row, begin, end
            count += 3
        row += 1
        at = next_row(text, at + 1, delimiter)
    return times[:row], values[:row], places[: 2 * row], odd[:count], wide


@compiled
def lines_before(text: Octets, start: int, row: int, delimiter: int) -> int:
    """How many lines lie between `start` and a row of the table."""
    at = next_row(text, start, delimiter)
    for _ in range(row):
        at = next_row(text, line_end(text, at) + 1, delimiter)
    lines = 0
    for index in range(start, min(at, text.size)):
        lines += text[index] == LINE
    return lines

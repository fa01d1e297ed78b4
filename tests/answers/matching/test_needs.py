"""Ranges as people write them."""

import pytest

from registry.answers.matching.needs import chosen_needs, in_full, told
from registry.errors import Invalid
from registry.statistics.matching import Need


@pytest.mark.parametrize(
    ("text", "need", "written", "words"),
    [
        ("70..", Need(70, None), "70..", "of at least 70"),
        (" .. 30 ", Need(None, 30), "..30", "of at most 30"),
        ("200..240", Need(200, 240), "200..240", "of 200 to 240"),
        ("-1.5..-1.5", Need(-1.5, -1.5), "-1.5..-1.5", "of -1.5 to -1.5"),
    ],
)
def test_ranges_are_read_and_told_again(text, need, written, words) -> None:
    assert chosen_needs({"residual_vacuum": text}) == {"residual_vacuum": need}
    assert (told(need), in_full(need)) == (written, words)


def test_short_names_stand_for_metrics() -> None:
    assert list(chosen_needs({"rate": "1..", "vacuum": "2..", "hold_time": "3.."})) == [
        "cycle_rate", "peak_vacuum", "hold_time",
    ]  # fmt: skip


@pytest.mark.parametrize("text", ["", "..", "70", "240..200", "1e3..", "a..b", "1..2..3", "nan.."])
def test_what_is_no_range_is_refused_on_its_field(text) -> None:
    with pytest.raises(Invalid) as refused:
        chosen_needs({"vacuum": text})
    assert [fault.field for fault in refused.value.faults] == ["vacuum"]


def test_a_metric_is_asked_for_once() -> None:
    with pytest.raises(Invalid) as refused:
        chosen_needs({"rate": "1..", "cycle_rate": "2.."})
    assert refused.value.faults[0].field == "cycle_rate"


def test_what_is_asked_for_twice_is_told_as_it_was_typed() -> None:
    with pytest.raises(Invalid) as refused:
        chosen_needs({"rate": "1..", "cycle_rate": "2.."})
    assert refused.value.hint == "Give rate or cycle_rate, not both."


@pytest.mark.parametrize(
    ("field", "text", "hint"),
    [
        ("rate", "70-90", "Write two points between both ends, as in 70..90."),
        ("rate", "70 to 90", "Write two points between both ends, as in 70..90."),
        ("rate", "70...90", "Write two points between both ends, as in 70..90."),
        ("rate", "60,5..80", "Decimals come after a point, as in 60.5."),
        ("vacuum", "20..30 kPa", "Give numbers alone, in mmHg (1 kPa is 7.5 mmHg), without 'kPa'."),
        ("rate", "70 cycles/min..", "Give numbers alone, in cycles/min, without 'cycles/min'."),
        ("duty_factor", "..60 %", "Give numbers alone, in shares of 1, without '%'."),
    ],
)
def test_a_range_written_another_way_is_told_how_it_is_written_here(field, text, hint) -> None:
    with pytest.raises(Invalid) as refused:
        chosen_needs({field: text})
    assert refused.value.hint.startswith(hint)
    assert refused.value.hint.endswith("Write 70.. for at least, ..30 for at most, 200..240 for between.")

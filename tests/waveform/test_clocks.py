"""Times in every form loggers write them, and the ones that are refused."""

from datetime import datetime, timedelta, timezone

import numpy as np
import pytest

from registry.waveform import Declared, read

from .test_channels import LEFT, SECONDS, N, refusal, table

START = datetime(2026, 3, 4, 23, 59, 58)  # noqa: DTZ001 - a logger's clock without a zone


def stamped(form):
    """The seconds by a strftime form, with {f3} for thousandths and {f} for millionths."""
    stamps = [START + timedelta(seconds=float(at)) for at in SECONDS]
    return [
        at.strftime(form)
        .replace("{f3}", f"{at.microsecond // 1000:03d}")
        .replace("{f}", f"{at.microsecond:06d}")
        for at in stamps
    ]


def bare(form):
    """Times as a function of seconds writes them."""
    return [form(at) for at in SECONDS]


def later(start):
    """Times of a clock that shows `start` seconds at first, hours without a nought."""
    shown = [start + float(at) for at in SECONDS]
    return [f"{int(at // 3600)}:{int(at // 60 % 60):02d}:{at % 60:06.3f}" for at in shown]


FORMS = {
    "ISO 8601": stamped("%Y-%m-%dT%H:%M:%S.{f}"),
    "a blank for the T": stamped("%Y-%m-%d %H:%M:%S.{f3}"),
    "a comma for the point": stamped("%Y-%m-%dT%H:%M:%S,{f3}"),
    "universal time": stamped("%Y-%m-%dT%H:%M:%S.{f3}Z"),
    "universal time by name": stamped("%Y-%m-%d %H:%M:%S.{f3} UTC"),
    "a zone": stamped("%Y-%m-%dT%H:%M:%S.{f3}+02:00"),
    "a zone without colon": stamped("%Y-%m-%dT%H:%M:%S.{f3}-0330"),
    "a zone of hours": stamped("%Y-%m-%dT%H:%M:%S.{f3}+02"),
    "basic": stamped("%Y%m%dT%H%M%S.{f3}"),
    "basic with zone": stamped("%Y%m%dT%H%M%S.{f3}+0200"),
    "digits that come and go": [text.rstrip("0") for text in stamped("%Y-%m-%dT%H:%M:%S.{f}")],
}
TIMES_OF_DAY = {
    "over midnight": stamped("%H:%M:%S.{f3}"),
    "with a date": stamped("%d.%m.%Y %H:%M:%S.{f3}"),
    "with a date, the month first": stamped("%m/%d/%Y %H:%M:%S.{f3}"),
    "halves of the day": stamped("%I:%M:%S.{f3} %p"),
    "halves of the day with a date": stamped("%m/%d/%Y %I:%M:%S.{f3} %p"),
    "thousandths after a colon": stamped("%H:%M:%S:{f3}"),
    "hours without a nought": later(35_998),
    "more than a day": later(359_990),
    "digits that come and go": [text.rstrip("0").rstrip(".") for text in stamped("%H:%M:%S.{f}")],
}
MINUTES = {
    "over the hour": stamped("%M:%S.{f3}"),
    "beyond sixty": bare(lambda at: f"75:{at:06.3f}"),
    "a decimal comma": bare(lambda at: f"5:{at:05.2f}".replace(".", ",")),
}
DAY, DATED, ISO = TIMES_OF_DAY["over midnight"], TIMES_OF_DAY["with a date"], FORMS["ISO 8601"]
ALL = [
    pytest.param(times, unit, id=f"{unit}, {name}")
    for unit, forms in (("ISO 8601", FORMS), ("hh:mm:ss", TIMES_OF_DAY), ("mm:ss", MINUTES))
    for name, times in forms.items()
]


@pytest.mark.parametrize(("times", "unit"), ALL)
def test_a_form_of_clock_time(times, unit):
    reading = read(table("Time;Vacuum (mmHg)", times, LEFT, delimiter=";"))
    np.testing.assert_allclose(reading.seconds, SECONDS, atol=1e-8)
    assert (reading.understood.clock, reading.understood.time_unit) == ("clock", unit)


def test_summer_time_ends_unnoticed_where_the_zone_is_written():
    local = [START.replace(hour=2) + timedelta(seconds=float(at)) for at in SECONDS]
    zone = [timezone(timedelta(hours=2 - (index >= N // 2))) for index in range(N)]
    times = [
        (at - timedelta(hours=int(index >= N // 2)))
        .replace(tzinfo=zone[index])
        .isoformat(timespec="milliseconds")
        for index, at in enumerate(local)
    ]
    reading = read(table("Time,Vacuum (mmHg)", times, LEFT))
    np.testing.assert_allclose(reading.seconds, SECONDS, atol=1e-8)


def test_the_start_is_kept_as_written_and_the_origin_in_seconds():
    data = table("Time,Vacuum (mmHg)", FORMS["a zone"], LEFT)
    reading = read(data)
    assert reading.understood.started_at == "2026-03-04T23:59:58.000+02:00"
    assert reading.origin_s == pytest.approx(datetime.fromisoformat("2026-03-04T21:59:58+00:00").timestamp())
    assert read(table("Time,Vacuum (mmHg)", DAY, LEFT)).origin_s == pytest.approx(86_398)


@pytest.mark.parametrize(
    ("word", "scale"),
    [
        ("s", 1),
        ("sec", 1),
        ("ms", 1e3),
        ("msec", 1e3),
        ("us", 1e6),
        ("µs", 1e6),
        ("min", 1 / 60),
        ("h", 1 / 3600),
    ],
)
def test_elapsed_times_in_any_unit(word, scale):
    times = [f"{at * scale:.10f}" for at in SECONDS]
    reading = read(table(f"Time ({word}),Vacuum (mmHg)", times, LEFT))
    np.testing.assert_allclose(reading.seconds, SECONDS, atol=2e-6)
    assert reading.understood.time_unit_basis == "header"


@pytest.mark.parametrize("first", [0.0, 1.77e9, -3.0])
def test_elapsed_times_may_count_from_anywhere(first):
    reading = read(table("Time (s),Vacuum (mmHg)", [f"{first + at:.4f}" for at in SECONDS], LEFT))
    np.testing.assert_allclose(reading.seconds, SECONDS, atol=1e-6)
    assert reading.origin_s == first


@pytest.mark.parametrize("every", [5, 50])
def test_a_coarse_clock_that_repeats_is_rebuilt(every):
    at = np.arange(N) / 50
    times = [f"{np.floor(one * 50 / every) * every / 50:.2f}" for one in at]
    reading = read(table("Time (s),Vacuum (mmHg)", times, LEFT))
    assert [note.code for note in reading.notes] == ["clock_rebuilt"]
    np.testing.assert_allclose(reading.seconds, SECONDS, atol=0.02)


def test_times_that_are_all_the_same_need_a_rate():
    data = table("Time,Vacuum (mmHg)", ["10:00:00"] * N, LEFT)
    assert refusal(data).code == "rate_unknown"
    reading = read(data, Declared(rate_hz=50))
    np.testing.assert_allclose(reading.seconds, SECONDS)
    assert reading.understood.rate_basis == "declared"
    assert reading.understood.as_usual().rate_hz == pytest.approx(50)


@pytest.mark.parametrize(
    ("times", "code", "line"),
    [
        ([*ISO[:57], "2026-02-30T00:00:00.000000", *ISO[58:]], "bad_time", 59),
        ([*DAY[:57], "99:aa:00.000", *DAY[58:]], "bad_time", 59),
        ([*DAY[:57], "", *DAY[58:]], "bad_time", 59),
        ([*DAY[:57], "10", *DAY[58:]], "bad_time", 59),
        ([*DATED[:300], DATED[290], *DATED[301:]], "time_goes_back", 302),
        (["1.00", *[f"{at:.2f}" for at in SECONDS[1:]]], "time_goes_back", 3),
        (["", *[f"{at:.2f}" for at in SECONDS[1:]]], "bad_time", 2),
    ],
)  # fmt: skip
def test_a_time_that_cannot_be_is_refused_with_its_line(times, code, line):
    fault = refusal(table("Time (s),Vacuum (mmHg)", times, LEFT))
    assert (fault.code, fault.line) == (code, line)

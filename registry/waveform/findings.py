"""The closed list of findings: what a trace can be noted for, how grave it is, and what to do.

A finding with severity "hold" keeps the run out of answers until a person has looked at it.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from .types import Finding, Severity


@dataclass(frozen=True)
class Entry:
    """One kind of finding. `message` may hold {fields} filled in when it is raised."""

    severity: Severity
    message: str
    hint: str


CATALOGUE: Mapping[str, Entry] = MappingProxyType(
    {
        "gauge_undeclared": Entry(
            "caution",
            "The gauge is not declared, so a wide accuracy limit was assumed.",
            "Declare the gauge once, with the range, resolution and accuracy from its leaflet.",
        ),
        "gauge_clipped": Entry(
            "hold",
            "The gauge was at the end of its range for {share:.1%} of the samples; the peak is cut off.",
            "Use a gauge with a larger range, or set the logger to its full range, and record again.",
        ),
        "over_range_samples": Entry(
            "caution",
            "The file says over-range in {count} of its samples.",
            "Set the logger to the gauge's full range; else use a gauge with a larger one.",
        ),
        "zero_unknown": Entry(
            "caution",
            "Nothing shows what the gauge reads at open air, so the zero may be off by some mmHg.",
            "Declare zero_offset, or leave two or three seconds of open air at the start of the recording.",
        ),
        "zero_far_off": Entry(
            "caution",
            "The gauge read {zero:.1f} mmHg at open air; this was taken off.",
            "Zero the gauge before the session; a large offset can mean a damaged sensor.",
        ),
        "ambient_unknown": Entry(
            "hold",
            "The file holds absolute pressure and nothing shows the pressure of the room.",
            "Record some seconds at open air first, or declare zero_offset as the reading at open air.",
        ),
        "sign_assumed": Entry(
            "hold",
            "The trace goes about as far above zero as below, so the sign of vacuum could not be told.",
            "Zero the gauge, and name the column vacuum or pressure.",
        ),
        "time_unit_assumed": Entry(
            "note",
            "The file names no unit of time; {unit} was taken, which gives {rate:.4g} samples a second.",
            "Name the unit in the header, for instance Time (s).",
        ),
        "unlike_usual": Entry(
            "note",
            "The file is unlike what is kept for this gauge, and the file was believed: {what}.",
            "If the logger was set up anew, keep this reading for the gauge; else check the file.",
        ),
        "rate_disagrees": Entry(
            "caution",
            "The file states a rate of {declared:.4g} Hz; its times give {found:.4g} Hz, which was taken.",
            "Check the rate the logger was set to, and its clock.",
        ),
        "clock_rebuilt": Entry(
            "note",
            "The clock repeats for several samples; evenly spaced times were put between its steps.",
            "Let the logger write fractions of a second if it can.",
        ),
        "clock_uneven": Entry(
            "caution",
            "Samples are unevenly spaced: by {jitter:.0%} of the interval.",
            "Log at a fixed rate, or close other programs on the logging computer.",
        ),
        "gaps": Entry(
            "caution",
            "Samples are missing in {count} places, {seconds:.2f} s in all.",
            "Check the cable, the battery and the storage of the logger.",
        ),
        "many_gaps": Entry(
            "hold",
            "Samples are missing for {share:.0%} of the recording.",
            "Record again; check the cable, the battery and the storage of the logger.",
        ),
        "spikes": Entry(
            "note",
            "{count} single samples stand far off from their neighbours and were left out.",
            "Look for electrical interference or a loose plug.",
        ),
        "not_a_pump": Entry(
            "hold",
            "No repeating pull and release was found in the trace.",
            "Check that the pump was running, the rig tight, and that the column read is the one of vacuum.",
        ),
        "rate_unlikely": Entry(
            "hold",
            "It repeats {rate:.0f} times a minute; breast pumps do {slowest} to {quickest}.",
            "Check the unit of the time column, or the sampling rate that was declared.",
        ),
        "weak_signal": Entry(
            "hold",
            "Vacuum swings by {swing:.1f} mmHg only, too little to tell from noise or an open rig.",
            "Check that the rig is tight, the gauge connected, and the unit of its column right.",
        ),
        "too_few_cycles": Entry(
            "hold",
            "Only {count} whole cycles could be used; at least {needed} are needed.",
            "Record for 30 seconds or longer.",
        ),
        "few_cycles": Entry(
            "caution",
            "Only {count} whole cycles could be used, so the uncertainty is large.",
            "Record for a minute.",
        ),
        "sampled_too_slowly": Entry(
            "hold",
            "The gauge took {per_cycle:.1f} samples a cycle; at least {needed} are needed.",
            "Set the logger to a higher rate: 50 Hz or more serves all pumps.",
        ),
        "sampled_coarsely": Entry(
            "caution",
            "The gauge took {per_cycle:.1f} samples a cycle, so peaks and times are less certain.",
            "Set the logger to a higher rate: 50 Hz or more serves all pumps.",
        ),
        "noise_high": Entry(
            "caution",
            "Noise of {noise:.1f} mmHg (standard deviation) is high for a swing of {swing:.0f} mmHg.",
            "Keep the gauge and its cable away from motors and chargers, and the cable short.",
        ),
        "resolution_coarse": Entry(
            "caution",
            "Readings step by {step:.2g} mmHg, which is coarse for a swing of {swing:.0f} mmHg.",
            "Log with more digits, or use a finer gauge.",
        ),
        "two_settings": Entry(
            "hold",
            "The recording holds more than one setting: it changes {changes}.",
            "Record each setting in a file of its own, or cut this file there and upload the pieces.",
        ),
        "battery_falling": Entry(
            "caution",
            "From start to end {what}, while the residual vacuum stays: as with a battery that runs down.",
            "Charge the battery, or run the pump on mains, and record again.",
        ),
        "peak_drifts": Entry(
            "caution",
            "The peak changes by {change:+.0f} mmHg from the start of the recording to its end.",
            "Let the pump run for half a minute before recording; check the flange seat and the tubing.",
        ),
        "leak": Entry(
            "caution",
            "The residual vacuum changes by {change:+.0f} mmHg from the start of the recording to its end.",
            "Check that flange, valve and tubing sit tight, and what the gauge reads at open air afterwards.",
        ),
        "losses": Entry(
            "caution",
            "Vacuum was lost or not built in {count} of {cycles} cycles: {kinds}.",
            "Check valve, membrane and flange seat; if it comes again with others, the pump itself does it.",
        ),
        "paused": Entry(
            "hold",
            "The pump stood still for {count} cycles in a row, about {seconds:.0f} s.",
            "Record again without switching the pump off, or cut the recording at the pause.",
        ),
        "irregular": Entry(
            "caution",
            "Cycles are irregular: the period varies by {spread:.0%}.",
            "Check that one setting ran throughout, no tubing was kinked and the battery was charged.",
        ),
        "double_pulse": Entry(
            "note",
            "The vacuum is pulled more than once in each repeating pattern; the whole pattern is one cycle.",
            "Nothing to do; keep it in mind when comparing rates.",
        ),
    }
)


def finding(code: str, at_s: float | None = None, **fields: object) -> Finding:
    """A finding of that code with its message filled in. KeyError for a code outside the list."""
    entry = CATALOGUE[code]
    return Finding(code, entry.severity, entry.message.format(**fields), entry.hint, at_s)


def holds(findings: tuple[Finding, ...]) -> bool:
    """Whether any finding keeps the run out of answers."""
    return any(item.severity == "hold" for item in findings)

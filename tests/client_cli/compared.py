"""Documents that hold builds against each other, as a server of this stage gives them."""

from typing import Any

LONG_RIG = "two-chamber protector / duckbill valve / silicone 6 mm / 24 mm / 30 mL"
CAUTION = "Bench figures describe pumps, not people; they are not medical advice."
STAMP = {"edition": 1, "as_of": "2026-03-01T12:00:00Z", "cautions": [CAUTION]}
AT = {"mode": "expression", "programme": "soft", "level": "5", "side": "single", "power": "mains"}


def row(metric: str, unit: str, scale: float, **more: Any) -> dict[str, Any]:
    """One row of a comparison with values in proportion to `scale`."""
    return {
        **AT,
        "rig": LONG_RIG,
        "metric": metric,
        "unit": unit,
        "old": scale,
        "new": 0.9 * scale,
        "difference": -0.1 * scale,
        "low": -0.1213 * scale,
        "high": -0.0789 * scale,
        "percent": -10.0,
        "percent_low": -12.1,
        "percent_high": -7.9,
        "margin": 0.05 * scale,
        "p_different": 1e-6,
        "p_same": 0.98,
        "same_low": -0.11 * scale,
        "same_high": -0.09 * scale,
        "verdict": "different",
        "matters": "yes",
        "needs": None,
        "bands": None,
        "units_old": 12,
        "units_new": 9,
        "clinics_old": 3,
        "clinics_new": 3,
        "clinics_both": 3,
        "set_aside": 0,
        **more,
    }


BANDS = {"old": "70 and above", "new": "60 to 70", "crossed": [70.0], "sure": False}
COMPARISON: dict[str, Any] = {
    "model": "Pellomi",
    "old": "revision A",
    "new": "revision B",
    "verdict": "different",
    "settings": [
        row("cycle_rate", "cycles/min", 72.0, bands=BANDS),
        row(
            "peak_vacuum", "mmHg", 241.0, verdict="same", matters="no", set_aside=1, same_low=-9.8,
            same_high=8.1,
        ),
        row(
            "residual_vacuum", "mmHg", 31.0, verdict="cannot tell yet", matters="perhaps",
            needs={"units": 14, "clinics": 4, "towards": "same"},
        ),
        row(
            "cycle_rate", "cycles/min", 51.0, level="6", low=None, high=None, percent_low=None,
            percent_high=None, margin=None, p_different=None, p_same=None, same_low=None, same_high=None,
            verdict="cannot tell yet", matters=None, needs=None,
        ),
    ],
    "family": 3,
    "margins": {"cycle_rate": "5 %", "vacuum": "10 mmHg"},
    "reach": [
        {**{k: AT[k] for k in ("mode", "programme", "level", "power")}, "rate": 72.0, "vacuum": 241.0,
         "reached": False, "with": {**AT, "rate": 64.8, "vacuum": 238.0}},
        {**{k: AT[k] for k in ("mode", "programme", "power")}, "level": "4", "rate": 75.0, "vacuum": 190.0,
         "reached": None, "with": None},
    ],
    "left_out": [
        {"mode": "stimulation", "programme": "", "level": "2", "why": "revision B was not measured there"}
    ],
    "says": "Pellomi, revision B against revision A: different; cycle rate at expression soft 5 falls.",
    **STAMP,
}  # fmt: skip


def share(value: float) -> dict[str, Any]:
    """A share with its interval."""
    ends = {"low": value - 1.62, "high": value + 1.62}
    percents = {"percent": value / 2, "percent_low": (value - 1.62) / 2, "percent_high": (value + 1.62) / 2}
    return {"value": value, **ends, **percents}


SWAP: dict[str, Any] = {
    "model": "Pellomi",
    "old": "revision A",
    "new": "revision B",
    "part": "protector",
    "old_part": "flat",
    "new_part": "domed",
    "settings": [
        {
            **AT,
            "rig": "duckbill valve / silicone 6 mm / 24 mm / 30 mL",
            "metric": "peak_vacuum",
            "unit": "mmHg",
            "units": [6, 4, 4, 6],
            "old_value": 200.0,
            "total": share(-15.0), "part": share(-9.0), "base": share(-6.0), "interaction": share(-2.0),
            "part_on_old": share(-8.0), "part_on_new": share(-10.0),
            "set_aside": 0,
        }
    ],
    "missing": [
        {**AT, "level": "6", "rig": "duckbill", "base": "revision A", "part": "domed",
         "says": "Record revision A with protector domed at expression soft 6 on mains."}
    ],
    "says": "Pellomi, revision B against revision A, protector flat to domed: it differs by -15 mmHg.",
    **STAMP,
}  # fmt: skip


def match(**more: Any) -> dict[str, Any]:
    """A setting of a pump, as an answer about settings has it."""
    metric = {"centre": 72.41, "predict_low": 68.9, "predict_high": 75.9, "probability": 0.91}
    return {
        "model": "Pellomi", "revision": "A", **AT, "rig": LONG_RIG, "probability": 0.874, "distance": None,
        "units": 12, "clinics": 3, "state": "ok", "missing": "", "metrics": {"cycle_rate": metric}, **more,
    }  # fmt: skip


SETTINGS: dict[str, Any] = {
    "model": "Pellomi",
    "needs": {"cycle_rate": "70.."},
    "like": None,
    "settings": [
        match(),
        match(
            revision=None,
            probability=None,
            state="thin",
            units=1,
            clinics=1,
            missing="2 more units, 1 more clinic",
        ),
    ],
    "left_off": 7,
    "says": "Pellomi, cycle rate 70..: best is revision A at expression soft 5.",
    **STAMP,
}
LIKE: dict[str, Any] = {
    **SETTINGS,
    "needs": {},
    "like": {**AT, "model": "Pellomi", "revision": "A", "units": 9, "cycle_rate": 75.0, "peak_vacuum": 220.0},
    "settings": [
        match(
            revision="B", probability=None, distance=1.83,
            other_parts={"protector": "domed in place of flat"},
            metrics={"peak_vacuum": {"centre": 238.3, "difference": 18.3, "in_margins": 1.83}},
        )
    ],
    "left_off": 0,
    "says": "Pellomi revision A at expression soft 5: none within margins; nearest is revision B.",
}  # fmt: skip

CLAIM: dict[str, Any] = {
    "metric": "peak_vacuum", "relation": "at least", "value": 250.0, "unit": "mmHg", "mode": "expression",
    "programme": "", "level": "", "source": "leaflet, 2025", "entered_by": "harbour",
    "entered_at": "2025-03-02T10:00:00Z", "revision": "B", "against": None,
    "setting": {**AT, "rig": LONG_RIG}, "metric_unit": "mmHg", "units": 12, "clinics": 3, "centre": 241.3,
    "low": 236.1, "high": 246.5, "probability": 0.083, "probability_typical": 0.0004, "guard_band": 4.1,
    "accept_low": 254.1, "accept_high": None, "verdict": "not upheld", "risk": 0.0004,
    "says": "Revision B, peak vacuum at least 250 mmHg at expression: not upheld.",
}  # fmt: skip
CLAIMS: dict[str, Any] = {
    "model": "Pellomi",
    "claims": [
        CLAIM,
        {**CLAIM, "relation": "same as before", "value": None, "against": "A", "setting": None,
         "centre": None, "probability": None, "verdict": "undecided", "risk": None},
    ],
    "says": "Pellomi, 2 claims over 1 revision: 1 not upheld, 1 undecided.",
    **STAMP,
}  # fmt: skip

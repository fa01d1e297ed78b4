"""Answer documents as a server of this stage gives them, with long names and awkward texts among them."""

from typing import Any

from tests.client_cli import catalogued, compared
from tests.client_cli.benched import BENCHES
from tests.client_cli.catalogued import CAUTION
from tests.client_cli.server import measured

LONG_RIG = "two-chamber protector / duckbill valve / silicone 6 mm / 24 mm / 30 mL"
SERIALS = catalogued.SERIALS


def cell(metric: str, unit: str, scale: float, **more: Any) -> dict[str, Any]:
    """One cell of a distribution with values in proportion to `scale`."""
    return {
        "revision": "A",
        "mode": "expression",
        "programme": "",
        "level": "5",
        "rig": LONG_RIG,
        "power": "mains",
        "metric": metric,
        "unit": unit,
        "runs": 120,
        "units": 12,
        "clinics": 3,
        "centre": 1.0 * scale,
        "low": 0.98765 * scale,
        "high": 1.01234 * scale,
        "s_repeatability": 0.0051 * scale,
        "s_unit": 0.0149 * scale,
        "s_clinic": 0.0098 * scale,
        "s_reproducibility": 0.0185 * scale,
        "predict_low": 0.9551 * scale,
        "predict_high": 1.0449 * scale,
        "quantiles": {
            "0.1": 0.981 * scale,
            "0.25": 0.99 * scale,
            "0.5": 1.0005 * scale,
            "0.75": 1.01 * scale,
            "0.9": 1.02 * scale,
        },
        "state": "ok",
        **more,
    }


DISTRIBUTION: dict[str, Any] = {
    "model": "Pellomi",
    "cells": [
        cell("peak_vacuum", "mmHg", 231.2),
        cell("residual_vacuum", "mmHg", 31.7),
        cell("peak_pull_rate", "mmHg/s", 1412.0),
        cell("duty_factor", "1", 0.612),
        cell(
            "loss_rate",
            "per 100 cycles",
            1.0,
            revision=None,
            state="thin",
            missing="2 more units, 1 more clinic",
            runs=1,
            units=1,
            clinics=1,
            low=None,
            high=None,
            s_unit=None,
            s_clinic=None,
            s_reproducibility=None,
            s_repeatability=0.0,
            predict_low=None,
            predict_high=None,
            quantiles={},
        ),
    ],
    "edition": 1,
    "as_of": "2026-03-01T12:00:00Z",
    "says": "Revision A of Pellomi pulls 231 mmHg at expression level 5, over 12 units at 3 clinics.",
    "cautions": [CAUTION],
}

RUN: dict[str, Any] = {
    "id": 7,
    "digest": "ab" * 32,
    "pump_model": "Pellomi",
    "serial": "LK000123",
    "revision": "A",
    "revision_basis": "declared",
    "mode": "expression",
    "programme": "",
    "level": "5",
    "side": "single",
    "recorded_at": "2026-03-01T09:30:00Z",
    "clinic": "harbour",
    "gauge": "G1",
    "rig": LONG_RIG,
    "power": "mains",
    "note": "[bold]zeroed[/bold] twice\x1b[31m and\u202e back",
    **measured("held"),
}

RUNS: dict[str, Any] = {
    "results": [
        RUN,
        {**RUN, "id": 1234567, "state": "withdrawn", "revision": None, "revision_basis": "unknown"},
    ],
    "next": None,
}

ALERTS: dict[str, Any] = {
    "results": [
        {
            "id": 3,
            "rule": "gauge_drift",
            "rule_version": 2,
            "subject": {"gauge": "harbour/G1"},
            "state": "raised",
            "since": "2026-02-20T08:00:00Z",
            "confidence": 0.96,
            "says": "Gauge G1 of clinic harbour has read about 6 mmHg low since 20 February.",
            "evidence": {},
        },
        {
            "id": 2,
            "rule": "unit_off",
            "rule_version": 1,
            "subject": {"pump_model": "Pellomi", "unit": "LK000123"},
            "state": "settled",
            "since": "2026-01-20T08:00:00Z",
            "confidence": 0.99,
            "says": "Unit LK000123 lost vacuum in one cycle of ten.",
            "evidence": {},
        },
    ],
    "next": None,
}

MODEL: dict[str, Any] = {
    "id": 4,
    "maker": "Ostrevall",
    "name": "Pellomi",
    "serial_schemes": [{"pattern": r"(?P<plant>[A-Z]{2})(?P<number>\d{6})", "order": ["number"]}],
    "revisions": [
        {
            "label": "A",
            "order": 1,
            "firmware": ["1.0", "1.1"],
            "marks": {"housing": "amber", "membrane": "flat"},
            "spans": [
                {
                    "first": "LK000001",
                    "last": "LK004999",
                    "revision": "A",
                    "basis": "declared",
                    "source": "maker's letter of 2025-03-02, second page, third paragraph",
                }
            ],
        },
        {"label": "B", "order": 2, "firmware": [], "marks": {}, "spans": []},
    ],
    "claims": [
        {
            "metric": "peak_vacuum",
            "relation": "at least",
            "value": 250.0,
            "unit": "mmHg",
            "mode": "expression",
            "programme": "",
            "level": "",
            "source": "leaflet, 2025",
        },
        {
            "metric": "loss_rate",
            "relation": "at most",
            "value": 0.0,
            "unit": "per 100 cycles",
            "source": "leaflet",
        },
    ],
}

GAUGE: dict[str, Any] = {
    "id": 1,
    "clinic": "harbour",
    "code": "G1",
    "gauge_model": "bench logger, second series",
    "range_low_mmhg": 0.0,
    "range_high_mmhg": 450.0369,
    "resolution_mmhg": 0.750062,
    "accuracy_mmhg": 2.0,
    "accuracy_fraction": 0.005,
    "calibrations": [
        {
            "on": "2026-02-01",
            "offset_mmhg": -0.3,
            "gain": 1.002,
            "uncertainty_mmhg": 0.4,
            "source": "certificate 17 of the county laboratory",
        }
    ],
}

CHANGES: dict[str, Any] = {
    "created": 1,
    "changed": 1,
    "removed": 0,
    "unchanged": 9,
    "changes": [
        {"kind": "revision", "name": "Pellomi B", "action": "created"},
        {
            "kind": "serial_scheme",
            "name": r"Pellomi (?P<plant>[A-Z]{2})(?P<number>\d{6})",
            "action": "changed",
        },
        {"kind": "maker", "name": "Ostrevall", "action": "unchanged"},
    ],
}

CYCLES: dict[str, Any] = {
    "run": 7,
    "edition": 1,
    "count": 2,
    "results": [
        {
            "number": 1,
            "start_s": 2.0312,
            "period_s": 1.15,
            "peak_mmhg": 231.26,
            "residual_mmhg": 20.0,
            "duty": 0.61,
            "loss": None,
        },
        {
            "number": 2,
            "start_s": 3.18,
            "period_s": None,
            "peak_mmhg": None,
            "residual_mmhg": None,
            "duty": None,
            "loss": "missing",
        },
    ],
    "next": None,
}

ANSWERS: dict[tuple[str, str], Any] = {
    ("GET", "distributions"): DISTRIBUTION,
    ("GET", "comparisons"): compared.COMPARISON,
    ("GET", "part-swaps"): compared.SWAP,
    ("GET", "claims"): compared.CLAIMS,
    ("GET", "benches"): BENCHES,
    ("GET", "settings-matches"): compared.SETTINGS,
    ("GET", "runs"): RUNS,
    ("GET", "runs/7"): RUN,
    ("GET", "runs/7/cycles"): CYCLES,
    ("POST", "runs/7/withdraw"): {**RUN, "state": "withdrawn"},
    ("GET", "alerts"): ALERTS,
    ("GET", "pump-models"): {"results": [MODEL], "next": None},
    ("GET", "pump-models/4"): MODEL,
    ("GET", "gauges"): {"results": [GAUGE], "next": None},
    ("PUT", "gauges/G1"): GAUGE,
    ("POST", "catalogue"): CHANGES,
    **catalogued.ANSWERS,
}

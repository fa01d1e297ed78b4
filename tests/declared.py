"""What an invented clinic declares: one maker, one pump model with two builds, a gauge, a run."""

from typing import Any

MODEL = "Larkspur Two"

CATALOGUE: dict[str, Any] = {
    "pump_model": [
        {
            "maker": "Brindlemoor",
            "name": MODEL,
            "serial_scheme": [{"pattern": r"(?P<plant>[A-Z]{2})(?P<number>\d{6})", "order": ["number"]}],
            "revision": [
                {
                    "label": "A",
                    "order": 1,
                    "firmware": ["1.0"],
                    "marks": {"housing": "amber"},
                    "span": [
                        {"first": "LK000001", "last": "LK004999", "basis": "declared", "source": "letter"}
                    ],
                },
                {
                    "label": "B",
                    "order": 2,
                    "marks": {"housing": "grey"},
                    "span": [
                        {"first": "LK005000", "last": "LK007999", "basis": "declared", "source": "letter"}
                    ],
                },
            ],
            "claim": [
                {
                    "metric": "peak_vacuum",
                    "relation": "at least",
                    "value": 250.0,
                    "unit": "mmHg",
                    "mode": "expression",
                    "source": "leaflet",
                }
            ],
        }
    ]
}
GAUGE = {
    "gauge_model": "test gauge",
    "range": "0..400 mmHg",
    "resolution": "0.1 mmHg",
    "accuracy": "0.5 % FS",
}


def provenance(**changes: Any) -> dict[str, Any]:
    """Return a complete provenance with `changes`; a change to None leaves the key out."""
    said = {
        "pump_model": MODEL,
        "serial": "LK000123",
        "mode": "expression",
        "level": 3,
        "gauge": "G1",
        "power": "mains",
        "flange_mm": 24,
        "protector": "flat",
        "recorded_at": "2026-03-02T10:00:00Z",
        **changes,
    }
    return {key: value for key, value in said.items() if value is not None}

"""Benches compared, as a server of this stage gives them."""

from typing import Any

from tests.client_cli.compared import AT, CAUTION, LONG_RIG

STAMP = {"edition": 1, "as_of": "2026-03-01T12:00:00Z", "cautions": [CAUTION]}


def offset(percent: float | None, **more: Any) -> dict[str, Any]:
    """One bench's offset; thin where there is none."""
    told = percent is not None
    return {
        "quantity": "vacuum",
        "offset_percent": percent,
        "low_percent": percent - 2 if told else None,
        "high_percent": percent + 2 if told else None,
        "declared_percent": 0.6,
        "z_prime": percent / 2 if told else None,
        "reads": "acceptable" if told else None,
        "en": percent / 3 if told else None,
        "en_reads": "acceptable" if told else None,
        "units": 9 if told else 1,
        "builds": 6,
        "others": 6 if told else 1,
        "state": "ok" if told else "thin",
        "missing": "" if told else "1 more unit, 1 more clinic",
        **more,
    }


def score(clinic: str, z: float, **more: Any) -> dict[str, Any]:
    """One clinic's score of a unit whose peak vacuum is agreed as 187.0 mmHg."""
    reads = "acceptable" if abs(z) <= 2 else "warning"
    return {
        "clinic": clinic, "own": False, "value": 187.0 + 3.7 * z, "u": 0.93, "z": z, "z_prime": 0.9 * z,
        "reads": reads, "en": z, "en_reads": "acceptable", **more,
    }  # fmt: skip


SCORED: dict[str, Any] = {
    **AT,
    "rig": LONG_RIG,
    "metric": "peak_vacuum",
    "unit": "mmHg",
    "assigned": 187.02,
    "u_assigned": 1.04,
    "s_robust": 2.2,
    "sigma": 3.7,
    "by": "z_prime",
    "scores": [
        score("clinic QQ7AAA", -2.71),
        score("clinic RR2BBB", 1.94, en_reads="action"),
        score("harbour", 0.62, own=True),
        score("clinic SS9CCC", -0.44),
    ],
}


def sent(serial: str, **more: Any) -> dict[str, Any]:
    """A unit that went round."""
    return {
        "pump_model": "Pellomi", "serial": serial, "first_day": "2026-01-05", "last_day": "2026-02-17",
        "clinics": 4, "settings": [SCORED], **more,
    }  # fmt: skip


BENCHES: dict[str, Any] = {
    "benches": [
        offset(8.3, clinic="clinic LM5TWB", own=False, reads="action", en_reads="action"),
        offset(1.2, clinic="harbour", own=True),
        offset(None, clinic="clinic DX5BQ7", own=False),
        offset(-0.3, clinic="harbour", own=True, quantity="cycle_rate"),
    ],
    "gauges": [offset(0.0, gauge="HB-1"), offset(2.4, gauge="HB-2", reads="warning")],
    "scatter_percent": {"vacuum": 2.31, "cycle_rate": None},
    "rounds": [sent(f"LK00000{k}") for k in range(8)],
    "says": "Your bench reads 1.2 % high in vacuum (-0.8 to 3.2 %: as it should be); 8 units went round.",
    **STAMP,
}

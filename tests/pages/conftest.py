"""Readers of the pages: a stranger, an operator, a curator; and alerts to read of."""

import pytest
from django.test import Client

from registry.intake.enrol import enrol
from registry.models import Alert
from tests import factories
from tests.alerts.delivery.raising import raised

EVIDENCE = {
    "size": 0.061,
    "shift_percent": 6.1,
    "low_percent": 4.6,
    "high_percent": 7.6,
    "units": 9,
    "other_clinics": 4,
    "agreeing": 0.93,
    "readings": [
        {"pump_model": "Lapwing One", "serial": f"LK00{n:04}", "percent": 5 + 0.7 * n} for n in range(9)
    ],
    "limits": {"off": 0.04, "clinics": 3},
}
WHY = ["It reads 6.1 % high, and 4 % is what gauges may differ by.", "4 other clinics read the same builds."]


def signed_in(token: str, **how: bool) -> Client:
    """A browser that signed in with a token."""
    client = Client(**how)
    assert client.post("/sign-in/", {"token": token}).status_code == 303
    return client


@pytest.fixture
def gauge_alert(db) -> Alert:
    """An alert of a gauge with evidence to draw."""
    return raised(
        "elmsworth/G1",
        says="Gauge elmsworth/G1 reads 6.1 % high (4.6 to 7.6 %) against 4 other clinics.",
        severity="urgent",
        why=WHY,
        evidence=EVIDENCE,
        clinic=factories.clinic("elmsworth"),
    )


@pytest.fixture
def stranger() -> Client:
    return Client()


@pytest.fixture
def operator(db) -> Client:
    return signed_in(enrol("elmsworth", "thyme")[1])


@pytest.fixture
def curator(db) -> Client:
    return signed_in(enrol("elmsworth", "sorrel", curator=True)[1])

"""A small invented community, stored: the catalogue, a curator and operators with a gauge."""

from registry.intake.catalogue import load_catalogue
from registry.intake.enrol import enrol
from registry.intake.gauges import declare_gauge
from registry.models import Operator
from tests.declared import CATALOGUE, GAUGE


def curator() -> Operator:
    """Enrol a curator."""
    return enrol("elmsworth", "sorrel", curator=True)[0]


def operator(clinic: str = "elmsworth", pseudonym: str = "thyme") -> Operator:
    """Enrol an operator with a declared gauge G1."""
    person = enrol(clinic, pseudonym)[0]
    declare_gauge("G1", GAUGE, person)
    return person


def catalogue() -> None:
    """Load the catalogue above."""
    load_catalogue(CATALOGUE, curator())

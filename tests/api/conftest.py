"""Clients of the API: an operator, a curator, a stranger."""

import pytest
from rest_framework.test import APIClient

from registry.intake.enrol import enrol
from tests import community


def signed_in(clinic: str, pseudonym: str, *, curator: bool = False) -> APIClient:
    """Return a client that sends a new token of that operator."""
    _, token = enrol(clinic, pseudonym, curator=curator)
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=f"Token {token}")
    return client


@pytest.fixture
def stranger() -> APIClient:
    """Somebody without an account."""
    return APIClient()


@pytest.fixture
def operator(db) -> APIClient:
    """An operator at elmsworth, which declared gauge G1; the catalogue is loaded."""
    community.catalogue()
    community.operator()
    return signed_in("elmsworth", "thyme")


@pytest.fixture
def curator(db) -> APIClient:
    """A curator."""
    return signed_in("elmsworth", "sorrel", curator=True)


@pytest.fixture
def neighbour(db) -> APIClient:
    """An operator of another clinic."""
    return signed_in("brackwater", "fennel")

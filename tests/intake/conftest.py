"""A catalogue and an operator for the tests of intake."""

import pytest

from registry.models import Operator
from registry.waveform import editions
from tests import community
from tests.editions import both


@pytest.fixture
def operator(db) -> Operator:
    """An operator of a clinic with a declared gauge; the catalogue is loaded."""
    community.catalogue()
    return community.operator()


@pytest.fixture
def second_edition(monkeypatch) -> None:
    """Let this process know the second edition."""
    monkeypatch.setattr(editions, "EDITIONS", both())

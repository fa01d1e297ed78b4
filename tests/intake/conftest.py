"""A catalogue and an operator for the tests of intake."""

import pytest

from registry.models import Operator
from tests import community


@pytest.fixture
def operator(db) -> Operator:
    """An operator of a clinic with a declared gauge; the catalogue is loaded."""
    community.catalogue()
    return community.operator()

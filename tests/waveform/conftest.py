"""Kernels are made ready before the first test, so that no test is timed while they load."""

import pytest

from registry.waveform.warm import warm


@pytest.fixture(scope="session", autouse=True)
def _kernels():
    warm()

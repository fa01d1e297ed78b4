"""The server's settings with one more address table: the bare peer beside the real routes."""

from registry.config.settings import *  # noqa: F403

ROOT_URLCONF = "tests.bench.urls"

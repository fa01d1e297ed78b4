"""The server's settings in processes that know the second edition too."""

from registry.config.settings import *  # noqa: F403
from tests.editions import register

register()

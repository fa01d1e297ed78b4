#!/usr/bin/env python
"""Vacuary's administration commands: migrate, serve, enrol, revoke, worker and Django's own."""

import os
import sys

from django.core.management import execute_from_command_line

if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "registry.config.settings")
    execute_from_command_line(sys.argv)

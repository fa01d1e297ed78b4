"""Run the queue worker: alert checks, recomputation and deliveries."""

import os
from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand

from registry.config import lifeline
from registry.waveform.warm import warm


class Command(BaseCommand):
    """Runs one worker until it is told to stop. Any number may run, on any number of hosts."""

    help = "Run the queue worker (alert checks, recomputation, deliveries) until it is told to stop."

    def handle(self, *args: Any, **options: Any) -> None:
        """Work until SIGTERM or Ctrl-C; jobs in hand are finished first."""
        lifeline.follow(stop=os.getpid())
        warm()
        call_command("procrastinate", "worker")

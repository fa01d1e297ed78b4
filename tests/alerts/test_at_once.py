"""Two workers, each a process of its own, scan at once: one cause, one alert, told once."""

import subprocess
import sys

import pytest
from django.db import connection

from registry.models import Alert, Announcement
from tests import factories
from tests.alerts.community import Community

SCAN = """
import os, sys
os.environ["DJANGO_SETTINGS_MODULE"] = "registry.config.settings"
import django
from django.conf import settings
settings.DATABASES["default"]["NAME"] = sys.argv[1]
django.setup()
from registry.alerts.scan import scan_community
print("ready", flush=True)
sys.stdin.readline()
scan_community()
"""


@pytest.mark.django_db(transaction=True)
def test_processes_that_scan_at_once_raise_and_announce_one_alert() -> None:
    Community(factories.pump_model(), gains={"west": 1.1}).measure()
    command = [sys.executable, "-c", SCAN, str(connection.settings_dict["NAME"])]
    pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "stderr": subprocess.PIPE}
    workers = [subprocess.Popen(command, **pipes, text=True) for _ in range(2)]
    for worker in workers:
        assert worker.stdout.readline() == "ready\n", worker.stderr.read()
    for worker in workers:
        worker.stdin.write("go\n")
        worker.stdin.flush()
    ended = [worker.communicate(timeout=120) for worker in workers]
    assert [worker.returncode for worker in workers] == [0, 0], ended
    assert [(a.rule, a.subject, a.state) for a in Alert.objects.all()] == [("gauge_off", "west/G1", "raised")]
    assert Announcement.objects.count() == 1

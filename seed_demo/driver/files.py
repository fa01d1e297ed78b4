"""What a clinic has on its computer: a folder with trace files and the manifest that lists them."""

import csv
from collections.abc import Iterable
from pathlib import Path

from client_cli.manifest import FILE_COLUMN
from client_cli.provenance import NAMES
from seed_demo.driver.home import demo_home
from seed_demo.scenario.recordings import Recording


def write_files(recordings: Iterable[Recording]) -> dict[str, Path]:
    """Write every clinic's traces and manifest; returns the manifests by clinic."""
    by_clinic: dict[str, list[Recording]] = {}
    for recording in recordings:
        by_clinic.setdefault(recording.planned.clinic.code, []).append(recording)
    return {clinic: _write_clinic(clinic, theirs) for clinic, theirs in by_clinic.items()}


def trace_file(recording: Recording) -> Path:
    """Where a recording's trace was written."""
    return demo_home() / recording.planned.clinic.code / recording.file_name


def _write_clinic(clinic: str, recordings: list[Recording]) -> Path:
    folder = demo_home() / clinic
    folder.mkdir(exist_ok=True)
    for recording in recordings:
        trace_file(recording).write_bytes(recording.data)
    manifest = folder / "manifest.csv"
    with manifest.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, (FILE_COLUMN, *NAMES), restval="")
        writer.writeheader()
        for recording in recordings:
            writer.writerow({FILE_COLUMN: recording.file_name, **recording.planned.provenance()})
    return manifest

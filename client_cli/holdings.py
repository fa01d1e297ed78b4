"""Which acknowledged runs the server still holds, asked for in bulk and only as far back as is needed."""

from collections.abc import Iterator, Sequence
from typing import Any

from client_cli.errors import Refused
from client_cli.journal import Entry
from client_cli.manifest import Row
from client_cli.session import Session
from client_cli.text import clean

RUNS = "runs"
_LEAST_PAGE, _LARGEST_PAGE = 20, 500
# Provenance that narrows the list of runs down where all rows share it, and the filter's name for it.
_NARROWING = {"pump_model": "model", "serial": "serial", "gauge": "gauge"}


class Holdings:
    """The clinic's own runs at the server, newest first, fetched page by page back to the run asked for.

    Nothing is asked before the first `find`. Where a filter passes over a run that is there, or the server
    cannot list runs so, the run counts as absent: it is sent again, which is harmless.
    """

    def __init__(self, session: Session, rows: Sequence[Row]) -> None:
        page_size = min(max(len(rows), _LEAST_PAGE), _LARGEST_PAGE)
        self._listed = _listed(session, _query(rows), page_size)
        self._runs: dict[int, dict[str, Any]] = {}

    def find(self, entry: Entry, trace: str, row: Row) -> dict[str, Any] | None:
        """The run of this entry as it stands at the server, or None when it is not there.

        An id alone proves nothing, as a server that began anew gives the same ids to other runs: the run must
        be of this trace (its SHA-256 digest) and setting. Raises NotPermitted, Unreachable or Fault.
        """
        if not isinstance(entry.id, int):
            return None
        if entry.id not in self._runs:
            self._read_back_to(entry.id)
        run = self._runs.get(entry.id)
        return run if run is not None and _is_of(run, trace, row) else None

    def _read_back_to(self, run_id: int) -> None:
        for run in self._listed:
            if isinstance(run.get("id"), int):
                self._runs[run["id"]] = run
                if run["id"] <= run_id:
                    return

    def add(self, run: dict[str, Any]) -> None:
        """Take in a run that the server acknowledged just now."""
        if isinstance(run.get("id"), int):
            self._runs[run["id"]] = run


def _query(rows: Sequence[Row]) -> dict[str, str]:
    query = {"mine": "true"}
    for key, name in _NARROWING.items():
        values = {str(row.provenance.get(key, "")) for row in rows}
        if len(values) == 1 and (value := clean(values.pop())):
            query[name] = value
    return query


def _listed(session: Session, query: dict[str, str], page_size: int) -> Iterator[dict[str, Any]]:
    try:
        yield from session.rows(RUNS, query, page_size)
    except Refused:
        return  # a server that has no such list holds nothing that could be proved


def _is_of(run: dict[str, Any], trace: str, row: Row) -> bool:
    said = row.provenance
    settings = ("mode", "level", *(["side"] if said.get("side") else []))
    return run.get("digest") == trace and all(
        _plain(run.get(key)) == _plain(said.get(key)) for key in settings
    )


def _plain(value: Any) -> str:
    return " ".join(str(value).split()).casefold()

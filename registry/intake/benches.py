"""Rigs and sittings of a run. Neither ever changes once stored, so a process remembers those it has seen."""

from collections import OrderedDict
from collections.abc import Hashable
from threading import Lock
from typing import Any, Generic, TypeVar

from django.db import models, transaction

from registry.intake.provenance import Provenance
from registry.intake.subject import Subject
from registry.models import BenchSession, Rig

M = TypeVar("M", bound=models.Model)


class Remembered(Generic[M]):
    """Stored records by what identifies them, the `most` recently used of them.

    A record is remembered only once its transaction is committed: one that was rolled back never was.
    """

    def __init__(self, kind: type[M], most: int = 5000) -> None:
        self._kind = kind
        self._most = most
        self._lock = Lock()  # the threads of a web process share what it remembers
        self._known: OrderedDict[Hashable, M] = OrderedDict()

    def bring(self, **values: Any) -> M:
        """Return the record that holds just these values, made if there is none."""
        key = tuple(values.values())
        known = self._recall(key)
        if known is not None:
            return known
        record: M
        record, _ = models.QuerySet(self._kind).get_or_create(**values)
        transaction.on_commit(lambda: self._remember(key, record))
        return record

    def forget(self) -> None:
        """Forget every record."""
        with self._lock:
            self._known.clear()

    def _recall(self, key: Hashable) -> M | None:
        with self._lock:
            if key in self._known:
                self._known.move_to_end(key)
            return self._known.get(key)

    def _remember(self, key: Hashable, record: M) -> None:
        with self._lock:
            self._known[key] = record
            while len(self._known) > self._most:
                self._known.popitem(last=False)


rigs = Remembered(Rig)
sessions = Remembered(BenchSession)


def forget() -> None:
    """Forget all that is remembered, for a database that was emptied or restored behind this process."""
    rigs.forget()
    sessions.forget()


def bring_rig(said: Provenance) -> Rig:
    """Return the rig of these parts, made if new."""
    return rigs.bring(
        protector=said.protector,
        valve=said.valve,
        tubing=said.tubing,
        flange_mm=said.flange_mm,
        load_ml=said.load_ml,
    )


def bring_session(subject: Subject) -> BenchSession:
    """Return the sitting a run belongs to, made if new."""
    said = subject.provenance
    return sessions.bring(
        clinic=subject.operator.clinic,
        operator=subject.operator,
        gauge=subject.gauge,
        gauge_code=subject.gauge.code if subject.gauge else said.gauge,
        held_on=said.recorded_at.date() if said.recorded_at else None,
        power=said.power[0],
        elevation_m=said.elevation_m,
        ambient_kpa=said.ambient_kpa,
    )

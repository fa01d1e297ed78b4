"""An export is of one moment, whatever happens while it is made."""

import threading

import pytest
from django.db import InternalError, connection, transaction

from registry.answers.exports import measurements
from registry.answers.exports.build import build
from registry.answers.exports.snapshot import snapshot
from registry.answers.exports.tables import TABLES
from registry.models import Clinic, Run
from tests import factories
from tests.answers.exports.stored import measured_run

pytestmark = pytest.mark.django_db(transaction=True)


def elsewhere(work):
    """Do work over another connection and wait for it."""

    def done():
        try:
            work()
        finally:
            connection.close()

    thread = threading.Thread(target=done)
    thread.start()
    thread.join()


def test_what_is_uploaded_and_withdrawn_meanwhile_stays_out(tmp_path, monkeypatch):
    monkeypatch.setattr(measurements, "ROWS_A_CHUNK", 3)
    monkeypatch.setattr(measurements, "RUNS_A_FETCH", 1)
    factories.edition()
    unit = factories.unit(factories.pump_model(), "LK000001")
    last = [measured_run(unit) for _ in range(4)][-1]
    fill = TABLES["measurements"].fill

    class Meddled:
        """The table, with an upload and a held run after its first chunk."""

        name, description, cautions, columns = "t", "d", (), TABLES["measurements"].columns

        def fill(self, **asked):
            filled = fill(**asked)
            first = next(filled.chunks)

            def meddle():
                measured_run(unit)
                Run.objects.filter(pk=last.pk).update(state="held")

            def rest():
                yield first
                elsewhere(meddle)
                yield from filled.chunks

            return type(filled)(filled.model, filled.edition, filled.as_of, rest())

    export = build(Meddled(), "csv", {"model": "Lapwing One"}, tmp_path)
    with export.sink.file as file:
        file.seek(0)
        text = file.read().decode()
    assert export.rows == 12
    assert f"\r\n{last.pk},1,accepted" in text
    assert TABLES["measurements"].fill(model="Lapwing One").as_of > export.as_of
    after = sum(len(chunk) for chunk in fill(model="Lapwing One", state="accepted").chunks)
    assert after == 12  # one run more, one run held


def test_nothing_can_be_written_within():
    with pytest.raises(InternalError, match="read-only"), snapshot():
        Clinic.objects.create(code="nowhere")
    assert not Clinic.objects.exists()


def test_within_a_transaction_its_own_view_holds():
    with transaction.atomic(), snapshot():
        Clinic.objects.create(code="somewhere")
    assert Clinic.objects.count() == 1

"""Health, versions and request ids."""

import pytest
from django.db import OperationalError, connection

pytestmark = pytest.mark.django_db


def test_a_server_with_its_database_is_well(stranger, settings):
    answer = stranger.get("/api/v1/health")
    assert answer.status_code == 200
    assert answer.json() == {
        "status": "ok",
        "version": settings.VERSION,
        "clients": settings.CLIENT_VERSIONS,
    }


def test_health_is_told_to_all_whatever_token_they_send(stranger, settings):
    settings.VACUARY_READS_OPEN = False
    assert stranger.get("/api/v1/health", headers={"Authorization": "Token wrong"}).status_code == 200


def test_an_absent_database_is_told_as_unavailable(stranger, monkeypatch, caplog):
    def gone(*args):
        raise OperationalError("the connection to 10.0.0.7 was lost")

    monkeypatch.setattr(connection, "cursor", gone)
    answer = stranger.get("/api/v1/health")
    assert (answer.status_code, answer.json()["code"], answer["Retry-After"]) == (503, "unavailable", "2")
    assert "10.0.0.7" not in answer.text
    assert "10.0.0.7" in caplog.text


def test_every_answer_carries_versions_and_a_request_id(stranger):
    answer = stranger.get("/api/v1/health", headers={"X-Request-Id": "abcdefgh-1"})
    assert answer["X-Request-Id"] == "abcdefgh-1"
    assert answer["Vacuary-Version"] == answer.json()["version"]
    assert answer["Vacuary-Clients"] == answer.json()["clients"]


@pytest.mark.parametrize("given", ["short", "x" * 65, "two words here", "line\x7fline"])
def test_a_request_id_that_could_spoil_a_log_is_replaced(stranger, given):
    answer = stranger.get("/api/v1/health", headers={"X-Request-Id": given})
    assert answer["X-Request-Id"] != given
    assert len(answer["X-Request-Id"]) == 16

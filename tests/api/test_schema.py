"""The whole schema under random requests: no fault of the server, no answer the schema does not name."""

from collections.abc import Iterator

import pytest
import schemathesis
from django.core.signals import request_finished, request_started
from django.db import close_old_connections
from hypothesis import HealthCheck, settings
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from registry.config.wsgi import application
from registry.intake.enrol import enrol
from registry.intake.receive import receive
from tests import community
from tests.declared import provenance
from tests.traces import trace_bytes

schema = schemathesis.openapi.from_wsgi("/api/v1/schema", application)


@pytest.fixture
def one_connection() -> Iterator[None]:
    """Keep the test's transaction open over requests, as Django's own test client does."""
    for signal in (request_started, request_finished):
        signal.disconnect(close_old_connections)
    yield
    for signal in (request_started, request_finished):
        signal.connect(close_old_connections)


@pytest.fixture
def token(db, one_connection) -> str:
    """A curator's token in a registry that holds a run."""
    community.catalogue()
    receive(trace_bytes(), provenance(), community.operator())
    return enrol("elmsworth", "sorrel", curator=True)[1]


@schema.parametrize()
@settings(
    max_examples=25,
    deadline=None,
    derandomize=True,
    suppress_health_check=list(HealthCheck),
)
def test_every_operation_answers_as_documented(case, token):
    for headers in ({"Authorization": f"Token {token}"}, {}):
        answer = case.call(headers={"Accept-Encoding": "identity", **headers})
        case.validate_response(
            answer,
            checks=[
                not_a_server_error,
                status_code_conformance,
                content_type_conformance,
                response_schema_conformance,
            ],
        )


def test_the_schema_names_every_route_of_the_contract():
    paths = {path.removeprefix("/api/v1/") for path in schema.raw_schema["paths"]}
    contract = "measure runs serials distributions alerts makers pump-models revisions serial-spans units"
    assert paths >= set(contract.split()) | {"clinics", "gauges", "rigs", "health", "catalogue"}
    assert schema.raw_schema["openapi"].startswith("3.1")

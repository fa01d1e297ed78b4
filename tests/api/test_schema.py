"""The whole schema under random requests: no fault of the server, no answer the schema does not name."""

from collections import Counter
from collections.abc import Iterator
from typing import Any

import pytest
import schemathesis
from django.core.signals import request_finished, request_started
from django.db import close_old_connections
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from registry.config.wsgi import application
from registry.intake.enrol import enrol
from tests.api.stored import store_everything


def closing(environ: dict[str, Any], start_response: Any) -> list[bytes]:
    """The application as a server runs it, which closes each answer; the schema's client does not."""
    answer = application(environ, start_response)
    try:
        return list(answer)
    finally:
        answer.close()


schema = schemathesis.openapi.from_wsgi("/api/v1/schema", closing)
CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_schema_conformance,
]
PLAIN = {"Accept-Encoding": "identity"}
OPERATIONS = sorted(
    operation["operationId"]
    for operations in schema.raw_schema["paths"].values()
    for operation in operations.values()
)
# What finds something, by operation; filled anew for each test, since numbers differ from test to test.
known: dict[str, dict[str, Any]] = {}


def _stored(context: schemathesis.HookContext, part: str) -> dict[str, Any]:
    operation = context.operation.definition.raw["operationId"]
    return dict(known.get(operation, {}).get(part, {}))


@schema.hooks.hook("flatmap_query")
def ask_for_what_is_stored(context: schemathesis.HookContext, query: dict[str, Any]) -> Any:
    """Names drawn at random are never those of the registry, so half the queries get those that are."""
    return st.sampled_from([query, {**(query or {}), **_stored(context, "query")}])


@schema.hooks.hook("flatmap_path_parameters")
def look_at_what_is_stored(context: schemathesis.HookContext, path_parameters: dict[str, Any]) -> Any:
    """Numbers likewise."""
    return st.sampled_from(
        [path_parameters, {**(path_parameters or {}), **_stored(context, "path_parameters")}]
    )


@pytest.fixture
def one_connection() -> Iterator[None]:
    """Keep the test's transaction open over requests, as Django's own test client does."""
    for signal in (request_started, request_finished):
        signal.disconnect(close_old_connections)
    yield
    for signal in (request_started, request_finished):
        signal.connect(close_old_connections)


@pytest.fixture
def token(db, one_connection) -> Iterator[str]:
    """A curator's token in a registry that holds one of everything."""
    known.update(store_everything())
    yield enrol("elmsworth", "sorrel", curator=True)[1]
    known.clear()


@schema.parametrize()
@settings(
    max_examples=25,
    deadline=None,
    derandomize=True,
    suppress_health_check=list(HealthCheck),
)
def test_every_operation_answers_as_documented(case, token):
    for headers in ({"Authorization": f"Token {token}"}, {}):
        answer = case.call(headers={**PLAIN, **headers})
        case.validate_response(answer, checks=CHECKS)


def test_names_and_numbers_that_are_stored_are_among_the_random_requests(token):
    found: Counter[int] = Counter()

    @settings(max_examples=25, deadline=None, derandomize=True, database=None)
    @given(schema["/api/v1/serials"]["GET"].as_strategy())
    def ask(case):
        found[case.call(headers={"Authorization": f"Token {token}"}).status_code] += 1

    ask()
    assert found[200] >= 5


@pytest.mark.parametrize("operation_id", OPERATIONS)
def test_every_operation_succeeds_with_what_is_stored(operation_id, token):
    case = schema.find_operation_by_id(operation_id).Case(**known[operation_id])
    answer = case.call(headers={**PLAIN, "Authorization": f"Token {token}"})
    assert answer.status_code in (200, 201, 202, 204), answer.text
    case.validate_response(answer, checks=CHECKS)
    if answer.headers.get("content-type") == ["application/json"]:
        assert list(undocumented(_answer_schema(operation_id, answer.status_code), answer.json())) == []


def _answer_schema(operation_id: str, status: int) -> dict[str, Any]:
    definition = schema.find_operation_by_id(operation_id).definition.raw
    found: dict[str, Any] = definition["responses"][str(status)]["content"]["application/json"]["schema"]
    return found


def undocumented(shape: dict[str, Any], document: Any, path: str = "") -> Iterator[str]:
    """Yield the path of every key that an answer holds and the schema does not name."""
    while "$ref" in shape:
        shape = schema.raw_schema["components"]["schemas"][shape["$ref"].rpartition("/")[2]]
    for choice in [*shape.get("oneOf", ()), *shape.get("allOf", ())]:
        if document is not None and choice.get("type") != "null":
            yield from undocumented(choice, document, path)
    if isinstance(document, list):
        for item in document:
            yield from undocumented(shape.get("items", {}), item, f"{path}[]")
    elif isinstance(document, dict) and "properties" in shape:
        for key, value in document.items():
            if key not in shape["properties"]:
                yield f"{path}.{key}"
            else:
                yield from undocumented(shape["properties"][key], value, f"{path}.{key}")


def test_a_key_the_schema_does_not_name_is_noticed():
    document = {"results": [{"id": 1, "name": "Brindlemoor", "owner": "x"}], "next": None}
    assert list(undocumented(_answer_schema("makers_list", 200), document)) == [".results[].owner"]


@pytest.mark.parametrize("operation_id", ["serials", "distributions"])
def test_answers_over_stored_runs_are_not_empty(operation_id, token):
    case = schema.find_operation_by_id(operation_id).Case(**known[operation_id])
    document = case.call(headers=PLAIN).json()
    assert document.get("spans") or document.get("cells")
    assert set(document) == set(_properties(operation_id))


def _properties(operation_id: str) -> dict[str, Any]:
    name = _answer_schema(operation_id, 200)["$ref"].rpartition("/")[2]
    found: dict[str, Any] = schema.raw_schema["components"]["schemas"][name]["properties"]
    return found


def test_the_schema_names_every_route_of_the_contract():
    paths = {path.removeprefix("/api/v1/") for path in schema.raw_schema["paths"]}
    contract = "measure runs serials distributions alerts makers pump-models revisions serial-spans units"
    more = "clinics gauges rigs health catalogue editions gauges/{code}/reading runs/{run_id}/cycles"
    assert paths >= {*contract.split(), *more.split()}
    assert schema.raw_schema["openapi"].startswith("3.1")

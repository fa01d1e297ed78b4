"""Talking to one server over one kept-open connection."""

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from types import TracebackType
from typing import Any, Protocol, Self
from urllib.parse import parse_qsl, quote, urlsplit

import requests
from requests.adapters import HTTPAdapter
from tenacity import Retrying

from client_cli import __version__
from client_cli.config import DEFAULT_PATIENCE_S, address
from client_cli.errors import Fault, Unreachable, WrongVersion
from client_cli.problems import from_answer
from client_cli.retry import Patience, Transient, retry_after
from client_cli.text import clean
from client_cli.troubles import TRANSIENT_ERRORS, json_of, reason_of
from client_cli.versions import misfit

Json = dict[str, Any]
Query = Mapping[str, str | int | None]

CONNECT_TIMEOUT_S = 10.0
READ_TIMEOUT_S = 90.0
FILE_TIMEOUT_S = 600.0  # the server makes a file whole before its first byte leaves
PAGE_SIZE = 500
_TRANSIENT_STATUS = frozenset({429, 502, 503, 504})


@dataclass(frozen=True)
class Answer:
    """A successful answer: its HTTP status, its JSON document, and how many tries it took."""

    status: int
    document: Json
    tries: int = 1


class Take(Protocol):
    """Who takes a file, over as many tries as it needs."""

    @property
    def size(self) -> int:
        """How many bytes of it are there."""

    def wanting(self) -> Mapping[str, str]:
        """The headers that say what is still wanted."""

    def receive(self, response: requests.Response) -> None:
        """Read the answer, whose status is 200 or 206."""


class _Token(requests.auth.AuthBase):
    """The Authorization header. Being an auth object, it also keeps a stray .netrc from replacing it."""

    def __init__(self, token: str | None) -> None:
        self.token = token

    def __call__(self, request: requests.PreparedRequest) -> requests.PreparedRequest:
        if self.token:
            request.headers["Authorization"] = f"Token {self.token}"
        return request


class Session:
    """One server, one token, one connection.

    `patience_s` is how long a call that is safe to repeat goes on after its first failure, in seconds;
    `tell(why, wait_s)` hears of every wait. Every method raises NotPermitted, Refused, Unreachable or Fault
    from `client_cli.errors`. Use it as a context manager, or call `close`.
    """

    def __init__(
        self,
        server: str,
        token: str | None = None,
        *,
        patience_s: float = DEFAULT_PATIENCE_S,
        tell: Callable[[str, float], None] | None = None,
    ) -> None:
        self.server = address(server)
        self.token = token
        self._patience = Patience(patience_s, tell)
        self._http = requests.Session()
        self._http.auth = _Token(token)
        self._http.headers.update(
            {
                "Accept": "application/json, application/problem+json",
                "User-Agent": f"vacuary/{__version__}",
                "Vacuary-Client": __version__,
            }
        )
        for scheme in ("http://", "https://"):
            self._http.mount(scheme, HTTPAdapter(pool_connections=1, pool_maxsize=1, max_retries=0))

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the connection."""
        self._http.close()

    def get(self, path: str, query: Query | None = None) -> Json:
        """The JSON document at `path` below the API's root."""
        return self._repeat("GET", path, params=_given(query)).document

    def get_if_changed(self, path: str, query: Query, tag: str) -> tuple[Json | None, str]:
        """The document and its entity tag; None with the same tag when it is as it was under that tag."""
        retrying = self._patience.retrying()
        try:
            found: tuple[Json | None, str] = retrying(self._get_if_changed, path, query, tag)
        except Transient as error:
            raise self._unreachable(error, _tries(retrying)) from error
        return found

    def put(self, path: str, document: Json) -> Answer:
        """Put a JSON document; repeated on failure, since putting it twice is putting it once."""
        return self._repeat("PUT", path, json=document)

    def delete(self, path: str) -> None:
        """Delete what is at `path`; repeated on failure, since deleting it twice is deleting it once."""
        self._repeat("DELETE", path)

    def post(self, path: str, document: Json, *, repeatable: bool = False) -> Answer:
        """Post a JSON document; repeated on failure only when the caller says that is harmless."""
        if repeatable:
            return self._repeat("POST", path, json=document)
        try:
            return self._once("POST", path, json=document)
        except Transient as error:
            raise Unreachable(
                f"The server at {self.server} gave no answer: {error.why}.",
                "It may or may not have done what was asked. Look before you try again.",
            ) from error

    def post_trace(
        self, path: str, name: str, trace: bytes, provenance: Mapping[str, Any] | None = None
    ) -> Answer:
        """Post a trace file to `runs` or `measure`; both are the same however often they are sent."""
        fields = {"provenance": json.dumps(provenance, ensure_ascii=False)} if provenance is not None else {}
        files = {"trace": (clean(name) or "trace", trace, "application/octet-stream")}
        return self._repeat("POST", path, data=fields, files=files)

    def post_traces(self, path: str, question: Json, traces: Sequence[tuple[str, bytes]]) -> Answer:
        """Post a question with trace files, in its order, where nothing is stored; so it is repeatable."""
        if not traces:
            return self._repeat("POST", path, json=question)
        fields = {"question": json.dumps(question, ensure_ascii=False)}
        files = [
            ("trace", (clean(name) or "trace", data, "application/octet-stream")) for name, data in traces
        ]
        return self._repeat("POST", path, data=fields, files=files)

    def rows(self, path: str, query: Query | None = None, page_size: int = PAGE_SIZE) -> Iterator[Json]:
        """Every row of a list, page after page, holding one page at a time."""
        for page in self._pages(path, query, page_size):
            yield from page["results"]

    def collect(self, path: str, query: Query | None = None, limit: int | None = None) -> Json:
        """The list document `{"results", "next", ...}` with up to `limit` rows (all without one)."""
        results: list[Json] = []
        whole: Json = {}
        for page in self._pages(path, query, min(limit or PAGE_SIZE, PAGE_SIZE)):
            whole = {**page, **whole, "next": page.get("next")}
            results += page["results"]
            if limit is not None and len(results) >= limit:
                break
        return {**whole, "results": results[:limit]}

    def fetch(self, path: str, query: Query | None, take: Take) -> None:
        """Get a file: each try asks with the headers of `take.wanting`, and `take.receive` reads the answer.

        `take.receive` may raise Transient, as a cut connection does, to have another try. Patience begins
        anew whenever a try brought more of the file.
        """
        while True:
            had, retrying = take.size, self._patience.retrying()
            try:
                retrying(self._fetch_once, path, query, take)
            except Transient as error:
                if take.size <= had:
                    raise self._unreachable(error, _tries(retrying)) from error
            else:
                return

    def _fetch_once(self, path: str, query: Query | None, take: Take) -> None:
        """One attempt; a refusal is read as that of any other call."""
        headers = {"Accept": "*/*", "Accept-Encoding": "identity", **take.wanting()}
        timeout = (CONNECT_TIMEOUT_S, FILE_TIMEOUT_S)
        response = self._ask("GET", path, timeout, params=_given(query), headers=headers, stream=True)
        try:
            if response.status_code not in (200, 206):
                self._read(response)
            self._check_version(response.headers.get("Vacuary-Clients"))
            take.receive(response)
        except TRANSIENT_ERRORS as error:
            raise Transient(reason_of(error)) from error
        finally:
            response.close()

    def _pages(self, path: str, query: Query | None, page_size: int) -> Iterator[Json]:
        asked: Query | None = {**_given(query), "page_size": page_size}
        while asked:
            page = self.get(path, asked)
            if not isinstance(page.get("results"), list):
                raise Fault(f"The answer to {path} is not the list that it should be.")
            yield page
            following = page.get("next")
            # Only the query of `next` is used: a token never follows an address in a document elsewhere.
            asked = dict(parse_qsl(urlsplit(str(following)).query)) if following else None

    def _repeat(self, method: str, path: str, **how: Any) -> Answer:
        retrying = self._patience.retrying()
        try:
            answer = retrying(self._once, method, path, **how)
        except Transient as error:
            raise self._unreachable(error, _tries(retrying)) from error
        return replace(answer, tries=_tries(retrying))

    def _get_if_changed(self, path: str, query: Query, tag: str) -> tuple[Json | None, str]:
        headers = {"If-None-Match": tag} if tag else {}
        timeout = (CONNECT_TIMEOUT_S, READ_TIMEOUT_S)
        response = self._ask("GET", path, timeout, params=_given(query), headers=headers)
        if response.status_code == 304:
            return None, tag
        return self._read(response).document, response.headers.get("ETag", "")

    def _unreachable(self, error: Transient, tries: int) -> Unreachable:
        asked = error.retry_after_s
        hint = "Check the connection and the address (`vacuary health`), or allow more time with --patience."
        if asked and asked > self._patience.seconds:
            hint = f"The server asks to come back in {asked:.0f} s."
        counted = "1 try" if tries == 1 else f"{tries} tries"
        return Unreachable(f"No answer from {self.server} after {counted}: {error.why}.", hint)

    def _once(self, method: str, path: str, **how: Any) -> Answer:
        """One attempt. Raises Transient for what may pass, and the client's own errors for what will not."""
        return self._read(self._ask(method, path, (CONNECT_TIMEOUT_S, READ_TIMEOUT_S), **how))

    def _ask(self, method: str, path: str, timeout: tuple[float, float], **how: Any) -> requests.Response:
        url = f"{self.server}/api/v1/{'/'.join(quote(part, safe='') for part in path.split('/'))}"
        try:
            return self._http.request(method, url, timeout=timeout, allow_redirects=False, **how)
        except requests.exceptions.SSLError as error:
            raise Unreachable(
                f"The certificate of {self.server} is not trusted: {clean(error)}.",
                "Check the address and the clock of this computer.",
            ) from error
        except TRANSIENT_ERRORS as error:
            raise Transient(reason_of(error)) from error
        except requests.RequestException as error:
            raise Fault(f"The request to {self.server} could not be made: {clean(error)}.") from error

    def _read(self, response: requests.Response) -> Answer:
        status = response.status_code
        if status in _TRANSIENT_STATUS:
            why = "it is too busy" if status == 429 else f"it is not available now (HTTP {status})"
            raise Transient(why, retry_after(response.headers.get("Retry-After")))
        self._check_version(response.headers.get("Vacuary-Clients"))
        document = {} if status == 204 else json_of(response)
        if not 200 <= status < 300:
            kind = response.headers.get("Content-Type", "")
            raise from_answer(status, kind, document, response.headers.get("Location", ""))
        if not isinstance(document, dict):
            raise from_answer(status, "", None)
        return Answer(status, document)

    def _check_version(self, served: str | None) -> None:
        miss = misfit(__version__, served) if served else None
        if miss is None:
            return
        what = {"old": "is too old", "new": "is too new"}.get(miss, "does not fit")
        todo = {
            "old": "Install a newer client.",
            "new": "Ask whoever runs the server to update it, or install an older client.",
        }
        raise WrongVersion(
            f"This client ({__version__}) {what} for {self.server}, which serves clients {clean(served)}.",
            todo.get(miss, "Install a client within that range."),
        )


def _given(query: Query | None) -> dict[str, str | int]:
    return {key: value for key, value in (query or {}).items() if value is not None and value != ""}


def _tries(retrying: Retrying) -> int:
    return int(retrying.statistics.get("attempt_number", 1))

"""What can go wrong between client and server, in plain words."""

from typing import Any

import requests

# Cut connections show up as any of these; a certificate that is not trusted will not be trusted later either.
TRANSIENT_ERRORS = (
    requests.ConnectionError,
    requests.Timeout,
    requests.exceptions.ChunkedEncodingError,
    requests.exceptions.ContentDecodingError,
)


def json_of(response: requests.Response) -> Any:
    """The JSON of an answer, None where it holds none."""
    try:
        return response.json()
    except requests.exceptions.JSONDecodeError:
        return None


def reason_of(error: requests.RequestException) -> str:
    """Why an attempt failed, without the address and the objects that the libraries put into their texts."""
    if isinstance(error, requests.ConnectTimeout):
        return "it did not answer in time"
    if isinstance(error, requests.Timeout):
        return "it took too long to answer"
    text = str(error)
    if "NameResolutionError" in text or "getaddrinfo" in text:
        return "its name is not known (is this computer online?)"
    if "refused" in text:
        return "nothing listens at that address"
    if isinstance(error, requests.exceptions.ProxyError):
        return "the proxy did not pass it on"
    return "the connection was cut"

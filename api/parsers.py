"""Bodies that come as JSON."""

from collections.abc import Mapping
from typing import IO, Any

from rest_framework.exceptions import ParseError
from rest_framework.parsers import BaseParser
from rest_framework.renderers import JSONRenderer

from api.jsontext import parse


class StrictJSON(BaseParser):
    """A JSON body in UTF-8; one that cannot be taken as it stands is refused as malformed."""

    media_type = "application/json"
    renderer_class = JSONRenderer

    def parse(
        self,
        stream: IO[bytes],
        media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> Any:
        """Return the parsed body. Raises ParseError saying what is wrong with it."""
        try:
            return parse(stream.read().decode("utf-8-sig"))
        except UnicodeDecodeError as error:
            raise ParseError("The body is not UTF-8 text.") from error
        except ValueError as error:
            raise ParseError(f"The body is not JSON that can be taken: {error}") from error

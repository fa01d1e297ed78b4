"""What nobody waits for is done when the response has been sent."""

import logging
from collections.abc import Callable

from django.http import HttpResponse

log = logging.getLogger(__name__)


class Afterwards:
    """Works to be done, in turn, once a response has been sent; what fails is logged and harms nobody.

    The server closes a response after its last byte, and after that the database connection: both belong to
    the same request until then.
    """

    def __init__(self) -> None:
        self._works: list[Callable[[], None]] = []

    def add(self, work: Callable[[], None]) -> None:
        """Do it after what was added before."""
        self._works.append(work)

    def follow(self, response: HttpResponse) -> None:
        """Do all of it when that response is closed."""
        if self._works:

            def close_after_all() -> None:
                # Its own way of closing again, so that the response does not hold itself in memory.
                del response.close
                try:
                    self._do()
                finally:
                    response.close()

            response.close = close_after_all  # type: ignore[method-assign]

    def _do(self) -> None:
        while self._works:
            work = self._works.pop(0)
            try:
                work()
            except Exception:
                log.exception("what was left to do after a response failed")

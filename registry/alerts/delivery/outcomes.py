"""How a try can end other than well."""

from datetime import timedelta


class NotDelivered(Exception):
    """The receiver did not take it; it may next time.

    `asked` is how long it asked to wait. `is_gone` when it wants no more, ever. `answers` tells whether it
    answered at all: one that does not will not answer the next message either.
    """

    def __init__(
        self, why: str, *, asked: timedelta | None = None, is_gone: bool = False, answers: bool = False
    ) -> None:
        super().__init__(why)
        self.why = why
        self.asked = asked
        self.is_gone = is_gone
        self.answers = answers

"""What can go wrong with the embedded database."""


class EmbeddedDatabaseError(Exception):
    """The embedded database cannot run here; the message says why and what to do."""

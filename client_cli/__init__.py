"""The thin command line of Vacuary: it asks the server, shows the answer, and measures nothing itself."""

__version__ = "0.1.0"

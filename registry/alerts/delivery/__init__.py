"""Tell people of alerts: by webhook, by e-mail, in a feed.

`announce` is what the book calls; everything else here follows from it.
"""

from registry.alerts.delivery.announcing import announce

__all__ = ["announce"]

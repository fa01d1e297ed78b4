"""Alerts as an Atom feed (RFC 4287): an entry when one is raised, another when it has ended."""

import re
import uuid
import xml.etree.ElementTree as ET
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Final

from django.conf import settings
from django.db.models import QuerySet

from registry.models import Announcement, Subscription
from registry.models.delivery import SEVERITIES
from registry.plaintext import readable

CONTENT_TYPE: Final = "application/atom+xml; charset=utf-8"
ENTRIES: Final = 100
_ATOM = "http://www.w3.org/2005/Atom"
_NOT_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")  # XML 1.0, production 2
_NEVER = datetime(1970, 1, 1, tzinfo=UTC)  # when a feed without entries was last changed


@dataclass(frozen=True)
class Wanted:
    """Which announcements a feed holds; None or "" narrows nothing down. `severity` is the least."""

    pump_model: int | None = None
    clinic: int | None = None
    rule: str = ""
    severity: str = "note"

    @classmethod
    def by(cls, subscription: Subscription) -> "Wanted":
        """What a subscription asks for."""
        return cls(
            subscription.pump_model_id, subscription.clinic_id, subscription.rule, subscription.severity
        )


def entries(wanted: Wanted) -> list[Announcement]:
    """The latest announcements that are wanted, newest first."""
    return list(_matching(wanted).order_by("-pk")[:ENTRIES])


def _matching(wanted: Wanted) -> QuerySet[Announcement]:
    least = SEVERITIES.index(wanted.severity)
    found = Announcement.objects.filter(alert__severity__in=SEVERITIES[least:])
    if wanted.pump_model is not None:
        found = found.filter(alert__pump_model=wanted.pump_model)
    if wanted.clinic is not None:
        found = found.filter(alert__clinic=wanted.clinic)
    return found.filter(alert__rule=wanted.rule) if wanted.rule else found


def version_of(said: Sequence[Announcement], address: str) -> tuple[str, datetime]:
    """An entity tag and the time of the last change; entries never change, so the newest tells them all."""
    newest = said[0] if said else None
    mark = uuid.uuid5(uuid.NAMESPACE_URL, f"{address} {settings.VERSION} {newest.pk if newest else 0}")
    return f'W/"{mark.hex}"', newest.said_at if newest else _NEVER


def feed(said: Sequence[Announcement], *, address: str, site: str) -> bytes:
    """Return the feed as it is found at `address`, with links to the pages below `site`, in UTF-8."""
    ET.register_namespace("", _ATOM)
    root = ET.Element(f"{{{_ATOM}}}feed", {"{http://www.w3.org/XML/1998/namespace}lang": "en"})
    _add(root, "id", uuid.uuid5(uuid.NAMESPACE_URL, address).urn)
    _add(root, "title", "Vacuary: alerts")
    _add(root, "subtitle", "Pumps, builds and gauges that stand out among bench runs.")
    _add(root, "updated", _time(version_of(said, address)[1]))
    _add(root, "link", rel="self", href=address, type="application/atom+xml")
    _add(root, "link", rel="alternate", href=f"{site}/alerts/", type="text/html")
    _add(ET.SubElement(root, f"{{{_ATOM}}}author"), "name", "Vacuary")
    _add(root, "generator", "Vacuary", version=settings.VERSION)
    for one in said:
        _entry(ET.SubElement(root, f"{{{_ATOM}}}entry"), one, site)
    return bytes(ET.tostring(root, encoding="utf-8", xml_declaration=True))


def _entry(entry: ET.Element, said: Announcement, site: str) -> None:
    alert = said.document
    _add(entry, "id", said.name.urn)
    _add(entry, "title", f"{said.event.capitalize()}: {alert['says']}")
    _add(entry, "published", _time(said.said_at))
    _add(entry, "updated", _time(said.said_at))
    _add(entry, "link", rel="alternate", href=f"{site}/alerts/{alert['id']}/", type="text/html")
    for word in (said.event, alert["rule"], *([alert["severity"]] if "severity" in alert else [])):
        _add(entry, "category", term=word)
    _add(entry, "content", "\n".join(lines(alert)), type="text")


def lines(alert: Mapping[str, Any]) -> list[str]:
    """An alert in lines of plain text: what, why, what to do, cautions."""
    return [
        alert["says"],
        *alert.get("why", ()),
        *([f"What to do: {alert['advice']}"] if alert.get("advice") else []),
        *(f"Caution: {caution}" for caution in alert.get("cautions", ())),
    ]


def _add(parent: ET.Element, name: str, text: str | None = None, **attributes: str) -> None:
    made = ET.SubElement(
        parent, f"{{{_ATOM}}}{name}", {key: _shown(value) for key, value in attributes.items()}
    )
    if text is not None:
        made.text = _shown(text)


def _shown(text: str) -> str:
    return _NOT_XML.sub("", readable(text))


def _time(moment: datetime) -> str:
    return moment.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")

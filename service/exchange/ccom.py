"""Fittings and removals as SyncAssetSegmentEvents, a message of MIMOSA CCOM 4 in XML.

Covered: one AssetSegmentEvent for each fitting and each removal, with Type, Segment (the position), Asset (the bearing,
its serial number, manufacturer and model) and Start. Not covered: measurements, causes, the requests of the same noun.
Types are those of the OIIE scenario 11. Element names are those of CCOM 4.0, from memory; not validated against its
schema.
"""

import re
from collections.abc import Iterable, Iterator, Mapping
from typing import Any, Final
from uuid import UUID, uuid5
from xml.etree.ElementTree import Element, SubElement, tostring

INSTALLATION: Final = "ecc99353-412b-4995-bd71-1cbc6fc16c7c"
REMOVAL: Final = "3a45e126-b234-42a0-b3b1-07c29522d02d"
NAMESPACE: Final = "http://www.mimosa.org/ccom4"
_NOT_XML: Final = re.compile("[^\t\n\r -\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]").sub
_WORDS: Final = {INSTALLATION: "Installation of Asset on Segment", REMOVAL: "Removal of Asset from Segment"}


def sync_asset_segment_events(stays: Iterable[Mapping[str, Any]], *, site_id: str, sender: str, created_at: str) -> str:
    """Return the message for stays, each with its fitting and, when it is over, its removal.

    Parameters
    ----------
    stays : iterable of dict
        id, asset, position, position_id, designation, manufacturer, serial, installed_at, removed_at (RFC 3339)
    site_id, sender, created_at : str
        The site, its code, and the time of the message
    """
    root = Element("SyncAssetSegmentEvents", {"xmlns": NAMESPACE, "releaseID": "4.0"})
    area = SubElement(root, "ApplicationArea")
    _text(SubElement(area, "Sender"), "LogicalID", sender)
    _text(area, "CreationDateTime", created_at)
    data = SubElement(root, "DataArea")
    SubElement(data, "Sync")
    for stay in stays:
        for kind, time in _events(stay):
            _event(data, stay, kind, time, site_id)
    return tostring(root, encoding="unicode", xml_declaration=True)


def _events(stay: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    yield INSTALLATION, stay["installed_at"]
    if stay["removed_at"] is not None:
        yield REMOVAL, stay["removed_at"]


def _event(data: Element, stay: Mapping[str, Any], kind: str, time: str, site_id: str) -> None:
    event = SubElement(data, "AssetSegmentEvent")
    _text(event, "UUID", str(uuid5(UUID(stay["id"]), kind)))
    source = SubElement(event, "InfoSource")
    _text(source, "UUID", site_id)
    named = SubElement(event, "Type")
    _text(named, "UUID", kind)
    _text(named, "ShortName", _WORDS[kind])
    _text(SubElement(event, "Start"), "DateTime", time)
    segment = SubElement(event, "Segment")
    _text(segment, "UUID", stay["position_id"])
    _text(segment, "ShortName", f"{stay['asset']} / {stay['position']}")
    bearing = SubElement(event, "Asset")
    _text(bearing, "UUID", _bearing_id(stay, site_id))
    if stay["serial"]:
        _text(bearing, "SerialNumber", stay["serial"])
    if stay["manufacturer"]:
        _text(SubElement(bearing, "Manufacturer"), "ShortName", stay["manufacturer"])
    _text(SubElement(bearing, "Model"), "PartNumber", stay["designation"])


def _bearing_id(stay: Mapping[str, Any], site_id: str) -> str:
    """Return what names a bearing: by its serial number when it has one, else by its stay."""
    if not stay["serial"]:
        return str(stay["id"])
    return str(uuid5(UUID(site_id), f"{stay['manufacturer']}/{stay['designation']}/{stay['serial']}"))


def _text(parent: Element, name: str, text: str) -> None:
    SubElement(parent, name).text = _NOT_XML("\ufffd", text)

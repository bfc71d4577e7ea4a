"""Events of the journal as CloudEvents 1.0: the types, and the envelope."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any, Final, Protocol

from service.moments import rfc3339

SPECVERSION: Final = "1.0"
PREFIX: Final = "internal.capsaddle."
"""Types are reverse domain names; the top-level domain ``internal`` is set aside for names that nobody registers."""
TYPES: Final[Mapping[str, str]] = {
    "site.created": "A site was created",
    "site.photos_switched": "The site takes photos of its jobs, or takes none any more",
    "site.blade_set_changed": "The site measures with other blades",
    "site.settings_changed": "The site wants orders released, or not any more, or has other hours of its own",
    "key.created": "An API key was created",
    "key.revoked": "An API key was revoked",
    "asset.registered": "A machine was entered",
    "asset.replaced": "A machine was changed",
    "asset.deleted": "A machine was deleted",
    "chart.entered": "A version of a chart was entered",
    "chart.recalled": "A chart was recalled; data.changed says how many bearings it concerns",
    "housing.entered": "A version of a housing was entered",
    "housing.recalled": "A housing was recalled",
    "table.recalled": "A built-in table was recalled",
    "field_map.entered": "A version of a field map was entered",
    "import_profile.entered": "A version of an import profile was entered",
    "subscription.created": "Somebody subscribed to events",
    "subscription.changed": "A subscription was changed",
    "subscription.deleted": "A subscription was deleted",
    "subscription.secret_rotated": "A subscription signs with a new secret",
    "subscription.secret_sealed": "The secret of a subscription was encrypted; it stays what it is",
    "subscription.disabled": "Deliveries to a subscription were given up",
    "work_order.opened": "A work order was opened, with revision 1 of its instructions",
    "card_link.made": "A link was made that opens the card of a work order without a key",
    "work_order.cancelled": "A work order was cancelled",
    "work_order.completed": "A work order was completed",
    "completion.corrected": "A completion was corrected",
    "instructions.revised": "Instructions have a new revision",
    "readiness.answered": "A question of an order was answered; what is a fact of the machine is on record",
    "work_order.released": "A named person released an order",
    "reading.recorded": "A reading was judged and kept",
    "photo.added": "A photo of a job was kept; data.changed carries the hash of its file",
    "as_found.recorded": "What was found was kept",
    "work_order.question_asked": "Somebody at the job says that a step is not possible, or asks",
    "deviation.approved": "A hold point was let pass by another person",
    "stay.ended": "A bearing was taken out of its position",
    "stay.struck_out": "A stay was struck out: a wrong outcome had made it; it is kept and not counted",
    "stay.begun": "A bearing was fitted in a position",
    "stays.imported": "Stays were imported; data.created says how many are new, data.closed how many ended",
    "position.flagged": "The daily look: a position fails more often than its class explains, surely enough to tell",
    "group.flagged": "The daily look: bearings of a maker, crew, lubricant or batch fail more than others like them",
    "stay_attribute.named": "An attribute of stays was named or described; the subject is its name",
    "stay_attribute.deleted": "A name of attributes that no stay used was deleted",
    "meter.read": "The hour meter of a machine was read",
    "meter_reading.struck_out": "A reading of an hour meter was struck out",
    "record.baseline": "All rows of the site were taken into the chain of hashes as they are; data.why says why",
    "record.changed": "Rows were written by the service for itself",
    "record.tidied": "What was past its time was deleted; data says how much of what",
    "record.anchored": "The end of the journal was signed; data holds it with its signature",
}
"""Every type that the journal knows, without prefix. A type never changes its meaning; types are added."""
PLACES: Final[Mapping[str, str]] = {
    "asset": "/v1/assets/{}",
    "chart": "/v1/charts/{}",
    "housing": "/v1/housings/{}",
    "field_map": "/v1/field-maps/{}",
    "import_profile": "/v1/import-profiles/{}",
    "subscription": "/v1/subscriptions/{}",
    "work_order": "/v1/work-orders/{}",
    "position": "/v1/positions/{}/recurrence",
}
"""Where a subject is read, by its kind."""


class JournalRow(Protocol):
    """What an envelope is made of: a row of the journal."""

    @property
    def seq(self) -> int: ...
    @property
    def at(self) -> datetime: ...
    @property
    def event_type(self) -> str: ...
    @property
    def subject_kind(self) -> str: ...
    @property
    def subject_id(self) -> str: ...
    @property
    def actor(self) -> str: ...
    @property
    def request_id(self) -> str: ...
    @property
    def before_hash(self) -> str | None: ...
    @property
    def after_hash(self) -> str | None: ...
    @property
    def data(self) -> Any: ...


def cloud_event(row: JournalRow, site_id: str, *, public_url: str = "") -> dict[str, Any]:
    """Return the event: thin, what happened to what and where to read it.

    ``source`` and ``id`` name an event once and for all: the site, and its number in the order of commits.
    ``sequence`` (an extension that CloudEvents documents) sorts as text.
    """
    place = PLACES.get(row.subject_kind)
    return {
        "specversion": SPECVERSION,
        "id": str(row.seq),
        "source": f"urn:uuid:{site_id}",
        "type": PREFIX + row.event_type,
        "subject": f"{row.subject_kind}/{row.subject_id}",
        "time": rfc3339(row.at),
        "datacontenttype": "application/json",
        "sequence": f"{row.seq:019d}",
        "data": {
            "kind": row.subject_kind,
            "id": row.subject_id,
            "link": None if place is None else public_url + place.format(row.subject_id),
            "by_key": row.actor,
            "request_id": row.request_id,
            "sha256_before": row.before_hash,
            "sha256_after": row.after_hash,
            "changed": row.data,
        },
    }


def ping_event(ping_id: str, site_id: str, subject: str, time: datetime) -> dict[str, Any]:
    """Return the event of a test ping, which is in no journal."""
    return {
        "specversion": SPECVERSION,
        "id": ping_id,
        "source": f"urn:uuid:{site_id}",
        "type": f"{PREFIX}subscription.ping",
        "subject": subject,
        "time": rfc3339(time),
        "datacontenttype": "application/json",
        "data": {},
    }

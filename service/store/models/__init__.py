"""The tables, one small module per subject."""

from service.store.models.alarms import Alarm
from service.store.models.base import Base, UTCDateTime
from service.store.models.desk import DeskSession
from service.store.models.exchange import (
    Delivery,
    DeliveryAttempt,
    FieldMap,
    ImportProfile,
    InboundMessage,
    Subscription,
)
from service.store.models.journal import IdempotencyKey, JournalEntry, JournalRows, SiteHead
from service.store.models.photos import Photo
from service.store.models.plant import Asset, Chart, Housing, MeterReading, Position, Shaft
from service.store.models.readiness import Answer, Release
from service.store.models.records import AsFound, Completion, Correction, Deviation, Reading
from service.store.models.sites import ApiKey, Site
from service.store.models.stays import SetAsideStay, Stay, StayAttribute
from service.store.models.work_orders import Revision, WorkOrder, WorkOrderPosition

__all__ = [
    "Alarm",
    "Answer",
    "ApiKey",
    "AsFound",
    "Asset",
    "Base",
    "Chart",
    "Completion",
    "Correction",
    "Delivery",
    "DeliveryAttempt",
    "DeskSession",
    "Deviation",
    "FieldMap",
    "Housing",
    "IdempotencyKey",
    "ImportProfile",
    "InboundMessage",
    "JournalEntry",
    "JournalRows",
    "MeterReading",
    "Photo",
    "Position",
    "Reading",
    "Release",
    "Revision",
    "SetAsideStay",
    "Shaft",
    "Site",
    "SiteHead",
    "Stay",
    "StayAttribute",
    "Subscription",
    "UTCDateTime",
    "WorkOrder",
    "WorkOrderPosition",
]

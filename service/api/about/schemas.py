"""What is sent to /v1/capabilities and what is answered."""

from marshmallow import fields as ma_fields

from service.api.wire.answers import AnswerSchema, nested, word, words


class ServiceVersions(AnswerSchema):
    """What answers: another engine or data version may answer another number."""

    api = word()
    service = word()
    engine = word()
    data = word()


class ServiceLimits(AnswerSchema):
    """The most that is taken."""

    body_bytes = ma_fields.Integer(required=True)
    json_depth = ma_fields.Integer(required=True)
    json_values = ma_fields.Integer(required=True)
    page_items = ma_fields.Integer(required=True)
    clearance_batch_lines = ma_fields.Integer(required=True)
    clearance_batch_bytes = ma_fields.Integer(required=True)
    work_order_batch_lines = ma_fields.Integer(required=True)
    work_order_batch_bytes = ma_fields.Integer(required=True)
    stay_import_bytes = ma_fields.Integer(required=True)
    stay_import_rows = ma_fields.Integer(required=True)
    entries_of_an_order = ma_fields.Integer(required=True)
    revisions_of_an_order = ma_fields.Integer(required=True)
    requests_per_minute = ma_fields.Integer(
        required=True, allow_none=True, metadata={"description": "What one key may send; null: as many as it likes"}
    )
    field_map_bytes = ma_fields.Integer(required=True)
    field_map_targets = ma_fields.Integer(required=True)
    expression_bytes = ma_fields.Integer(required=True)
    mapping_s = ma_fields.Float(required=True)
    events_wait_s = ma_fields.Integer(required=True)


class ServiceRetention(AnswerSchema):
    """How long things are kept; null: for ever."""

    idempotency_keys_days = ma_fields.Integer(required=True)
    ended_deliveries_days = ma_fields.Integer(required=True)
    events_days = ma_fields.Integer(required=True, allow_none=True)
    revisions_days = ma_fields.Integer(required=True, allow_none=True)
    stays_days = ma_fields.Integer(required=True, allow_none=True)


class ServiceWebhooks(AnswerSchema):
    """How events are sent."""

    allowed = ma_fields.Boolean(required=True, metadata={"description": "The operator lists places to send to"})
    delays_s = ma_fields.List(ma_fields.Float(), required=True)
    tolerance_s = ma_fields.Integer(required=True)


class CapabilitiesRead(AnswerSchema):
    """What this service can take and how long it keeps things."""

    site = word()
    units = word()
    scopes = words()
    person = word(null=True, description="Whose token it is; null with an API key")
    approval = word(description="`names`, or `keys`: a deviation comes with another key than the readings")
    versions = nested(ServiceVersions)
    limits = nested(ServiceLimits)
    retention = nested(ServiceRetention)
    webhooks = nested(ServiceWebhooks)
    event_types = words()
    field_map_functions = words()
    field_maps_built_in = words()

"""What is sent to Open standards out and what is answered."""

from marshmallow import fields as ma_fields

from service.api.wire.answers import AnswerSchema, nested, word


class B2mmlValue(AnswerSchema):
    """A value with its type and unit (UCUM)."""

    ValueString = word()
    DataType = word()
    UnitOfMeasure = word()


class B2mmlData(AnswerSchema):
    """An accepted reading."""

    ID = word()
    Description = word()
    Value = nested(B2mmlValue)


class B2mmlQuantity(AnswerSchema):
    """How many."""

    QuantityString = word()
    DataType = word()


class B2mmlAsset(AnswerSchema):
    """A bearing that was taken out or fitted."""

    PhysicalAssetID = word(required=False)
    PhysicalAssetClassID = word()
    PhysicalAssetUse = ma_fields.String(required=True, metadata={"enum": ["Removed", "Installed"]})
    EquipmentID = word()
    EquipmentPosition = word()
    Quantity = nested(B2mmlQuantity)


class B2mmlResponse(AnswerSchema):
    """How far the job is, what was measured, what was exchanged."""

    ID = word()
    JobOrderID = word()
    WorkType = word()
    StartTime = ma_fields.DateTime(required=True)
    EndTime = ma_fields.DateTime(required=False)
    JobState = ma_fields.String(required=True, metadata={"enum": ["AllowedToStart", "Running", "Ended", "Aborted"]})
    JobResponseData = nested(B2mmlData, many=True)
    PhysicalAssetActual = nested(B2mmlAsset, many=True)


class B2mmlJobResponse(AnswerSchema):
    """JobResponse of B2MML V7, the parts that are covered."""

    JobResponse = nested(B2mmlResponse)

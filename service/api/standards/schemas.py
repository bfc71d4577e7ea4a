"""What is sent to Open standards out and what is answered."""

from marshmallow import fields as ma_fields

from service.api.wire.answers import AnswerSchema, nested, word, words


class B2mmlValue(AnswerSchema):
    """A value with its type and unit (UCUM)."""

    ValueString = word()
    DataType = word()
    UnitOfMeasure = word(required=False)


class B2mmlProperty(AnswerSchema):
    """A property, or a part of a reading: the position, who took it, when."""

    ID = word()
    Value = nested(B2mmlValue, many=True)


class B2mmlData(AnswerSchema):
    """An accepted reading."""

    ID = word()
    Description = words()
    Value = nested(B2mmlValue, many=True)
    SegmentDataChild = nested(B2mmlProperty, many=True)


class B2mmlQuantity(AnswerSchema):
    """How many."""

    QuantityString = word()
    DataType = word()


class B2mmlLocation(AnswerSchema):
    """Where a bearing sits: machine and position."""

    Location = word()
    LocationType = ma_fields.String(required=True, metadata={"enum": ["Equipment"]})


class B2mmlAsset(AnswerSchema):
    """A bearing that was taken out or fitted."""

    ID = word()
    PhysicalAssetID = words(required=False)
    PhysicalAssetClassID = words()
    PhysicalAssetUse = ma_fields.String(required=True, metadata={"enum": ["Removed", "Installed"]})
    PhysicalLocation = nested(B2mmlLocation)
    Quantity = nested(B2mmlQuantity, many=True)
    PhysicalAssetActualProperty = nested(B2mmlProperty, many=True)


class B2mmlPerson(AnswerSchema):
    """Who measured, or who closed the order."""

    ID = word()
    PersonID = words()
    PersonnelUse = ma_fields.String(required=True, metadata={"enum": ["Measured", "Completed"]})


class B2mmlPlace(AnswerSchema):
    """A position of the machine."""

    ID = word()
    EquipmentID = words()


class B2mmlEquipment(AnswerSchema):
    """The machine and the positions of the order."""

    ID = word()
    EquipmentID = words()
    EquipmentActualChild = nested(B2mmlPlace, many=True)


class B2mmlResponse(AnswerSchema):
    """How far the job is, what was measured and by whom, what was exchanged."""

    ID = word()
    JobOrderID = word()
    WorkType = word()
    StartTime = ma_fields.DateTime(required=True)
    EndTime = ma_fields.DateTime(required=False)
    JobState = ma_fields.String(required=True, metadata={"enum": ["Ready", "Running", "Completed", "Aborted"]})
    EquipmentActual = nested(B2mmlEquipment, many=True)
    PersonnelActual = nested(B2mmlPerson, many=True)
    JobResponseData = nested(B2mmlData, many=True)
    PhysicalAssetActual = nested(B2mmlAsset, many=True)


class B2mmlJobResponse(AnswerSchema):
    """JobResponse of B2MML V7, the parts that are covered."""

    JobResponse = nested(B2mmlResponse)

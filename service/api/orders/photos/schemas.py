"""Photos of an order, as they are sent and answered."""

from marshmallow import fields as ma_fields

from service.api.http import fields
from service.api.http.schema import PageQuery, UnitsQuery, WriteQuery
from service.api.wire.answers import AnswerSchema, nested, word
from service.words import PHOTO_SUBJECTS


class PhotoQuery(WriteQuery):
    """What the photo in the body shows, where, by whom and when it was taken."""

    about = fields.Choice(PHOTO_SUBJECTS, required=True)
    position = fields.Text(80)
    taken_by = fields.Text(80, required=True)
    taken_at = fields.PastTime(required=True)


class PhotosQuery(PageQuery, UnitsQuery):
    """Query of the list of an order's photos."""


class PhotoRead(AnswerSchema):
    """A photo: what it shows, and its file, made anew as JPEG without what a camera writes into it."""

    id = word()
    about = word()
    position = word(null=True)
    sha256 = word()
    bytes = ma_fields.Integer(required=True)
    width = ma_fields.Integer(required=True)
    height = ma_fields.Integer(required=True)
    taken_at = ma_fields.DateTime(required=True)
    taken_by = word()
    created_at = ma_fields.DateTime(required=True)


class PhotoPage(AnswerSchema):
    """The photos of an order by age."""

    items = nested(PhotoRead, many=True)
    next = word(null=True)

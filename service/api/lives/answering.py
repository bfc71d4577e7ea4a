"""An answer about lives as JSON, or its rows as CSV; by Accept."""

from collections.abc import Mapping
from typing import Any, Final

from flask import Response

from service.api.http.media import SVG, best_media
from service.api.http.operations import Call
from service.api.http.streams import values_answer
from service.exchange.media import CSV, JSON
from service.render.answer_rows import answer_rows
from service.render.present import present

MEDIA: Final = (CSV,)
PICTURED: Final = (SVG, CSV)
OF_THEIR_OWN: Final = ("life-analysis", "replacement-age")
"""Answers whose sentences say themselves of which mode of damage they are."""


def media_asked_for(*, picture: bool = False) -> str:
    """Return what the caller wants: JSON, CSV, or where there is one a picture.

    Raises
    ------
    ProblemRaised
        406: none of them.
    """
    return best_media((JSON, *(PICTURED if picture else MEDIA)))


def answered(call: Call, media: str, record: Mapping[str, Any], name: str) -> Response:
    """Return the record as JSON, or its rows as CSV in a file of this name."""
    record = of_mode(call, record) if name not in OF_THEIR_OWN else record
    if media == JSON:
        return call.answer(record)
    columns, rows = answer_rows(present(record, call.units))
    return values_answer(media, columns, iter([rows]), name=name)


def of_mode(call: Call, record: Mapping[str, Any]) -> Any:
    """Return the record with verdicts that name the mode of damage that is asked about."""
    from service.use_cases.lives.population import said_of_mode

    return said_of_mode(record, call.query)

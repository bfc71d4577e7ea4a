"""Strict marshmallow fields: the only ones schemas use.

marshmallow's own fields forgive too much for this job (1.9 becomes 1, "yes" becomes true, a naive time passes).
A quantity is one field: ``{"value": 0.1, "unit": "mm"}`` is checked and converted in one step.
"""

import math
import unicodedata
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID

from marshmallow import ValidationError, fields, validate

from service.errors import shown
from service.moments import EARLIEST_YEAR, NotAMoment, moment
from service.units import BASE_UNIT, DIMENSIONS_OF, KINDS, UNITS, Quantity, to_base, to_nm

MAX_TEXT = 500
SLACK = timedelta(days=1)


class Refused(ValidationError):
    """A value that a field refuses, with a stable code beside the sentence."""

    def __init__(self, code: str, detail: str) -> None:
        super().__init__([{"code": code, "detail": detail}])


class Text(fields.Field[str]):
    """A text of 1..``longest`` characters in NFC, without control characters."""

    def __init__(self, longest: int = MAX_TEXT, *, lines: bool = False, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.longest = longest
        self.lines = lines

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> str:
        if not isinstance(value, str):
            raise Refused("wrong_type", f"{shown(value)} is not a text")
        if any(unicodedata.category(c) in ("Cc", "Cs") and not (self.lines and c == "\n") for c in value):
            raise Refused("bad_character", "control characters and lone surrogates are refused")
        text = unicodedata.normalize("NFC", value).strip()
        if not 1 <= len(text) <= self.longest:
            raise Refused("wrong_length", f"{len(text)} characters; 1 to {self.longest} are taken")
        return text


class Choice(fields.Field[str]):
    """One of a closed list of words."""

    def __init__(self, choices: Sequence[str], **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.choices = tuple(choices)

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> str:
        if not isinstance(value, str) or value not in self.choices:
            raise Refused("unknown_choice", f"{shown(value)} is not one of {', '.join(self.choices)}")
        return value


class Flag(fields.Field[bool]):
    """true or false, nothing that resembles them."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> bool:
        if not isinstance(value, bool):
            raise Refused("wrong_type", f"{shown(value)} is not true or false")
        return value


class Whole(fields.Field[int]):
    """A JSON integer between two limits; in a query, its decimal digits."""

    def __init__(self, least: int, most: int, *, in_query: bool = False, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.least, self.most, self.in_query = least, most, in_query

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> int:
        if self.in_query and isinstance(value, str) and value.isascii() and value.isdigit() and len(value) <= 19:
            value = int(value)
        if isinstance(value, bool) or not isinstance(value, int):
            raise Refused("wrong_type", f"{shown(value)} is not a whole number")
        if not self.least <= value <= self.most:
            raise Refused("out_of_range", f"{shown(value)} lies outside {self.least} to {self.most}")
        return value


class Number(fields.Field[float]):
    """A finite JSON number above (or from) a limit."""

    def __init__(self, *, least: float | None = None, above: float | None = None, most: float, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.least, self.above, self.most = least, above, most

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> float:
        number = finite(value)
        low = (self.least is not None and number < self.least) or (self.above is not None and number <= self.above)
        if low or number > self.most:
            from_ = f"from {self.least}" if self.least is not None else f"above {self.above}"
            raise Refused("out_of_range", f"{shown(value)} is not {from_} to {self.most}")
        return number


class Timestamp(fields.Field[datetime]):
    """An RFC 3339 time with its offset; becomes UTC."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> datetime:
        try:
            return moment(value)
        except NotAMoment as refused:
            raise Refused(refused.code, f"{shown(value)} {refused.said}") from None


class PastTime(Timestamp):
    """When something was done: from ``EARLIEST_YEAR`` to now, a day ahead where a clock is set wrong."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> datetime:
        time = super()._deserialize(value, attr, data, **kwargs)
        if time > datetime.now(UTC) + SLACK:
            raise Refused("in_the_future", f"{shown(value)} lies in the future; this says when something was done")
        if time.year < EARLIEST_YEAR:
            raise Refused("bad_time", f"{shown(value)} lies before {EARLIEST_YEAR}")
        return time


class Identifier(fields.Field[str]):
    """A UUID, in lower case with hyphens."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> str:
        try:
            if not isinstance(value, str) or len(value) != 36:
                raise ValueError
            return str(UUID(value))
        except ValueError:
            raise Refused("bad_identifier", f"{shown(value)} is not a UUID") from None


def finite(value: Any) -> float | int:
    """Return a finite JSON number, or refuse it."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise Refused("wrong_type", f"{shown(value)} is not a number")
    if isinstance(value, float) and not math.isfinite(value):
        raise Refused("not_finite", f"{shown(value)} is not a finite number")
    if abs(value) > 1e15:
        raise Refused("out_of_range", f"{shown(value)} is larger than any quantity of this job")
    return value


class QuantityField(fields.Field[Any]):
    """``{"value": number, "unit": unit}`` of one dimension, within limits in the kind's own unit.

    Parameters
    ----------
    kind : str
        One of ``service.units.KINDS``: says dimension and what the number becomes (nanometres or the base unit).
    least, above, most : float
        Limits in mm, N, N.m, degC, K, h ... (the base unit of the dimension, also for nanometre kinds).
    keep : bool
        Load a ``Quantity`` (for documents that are stored) instead of the bare number.
    """

    def __init__(
        self,
        kind: str,
        *,
        least: float | None = None,
        above: float | None = None,
        most: float | None = None,
        keep: bool = False,
        **kwargs: Any,
    ) -> None:
        super().__init__(**kwargs)
        self.kind = kind
        self.dimension = KINDS[kind].dimension
        self.in_nm = KINDS[kind].held_in == "nm"
        self.units = UNITS[self.dimension]
        self.least, self.above, self.most, self.keep = least, above, most, keep

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> Any:
        if not isinstance(value, Mapping):
            raise Refused(
                "bare_number" if isinstance(value, int | float) and not isinstance(value, bool) else "wrong_type",
                f"{shown(value)} is not a quantity; write it with its unit, "
                f'{{"value": ..., "unit": "{BASE_UNIT[self.dimension]}"}}',
            )
        for member in value:
            if member not in ("value", "unit", "text"):
                raise Refused("unknown_member", f"{shown(member)} is not a member of a quantity (value, unit)")
        for member in ("value", "unit"):
            if member not in value:
                raise Refused("required", f"the quantity lacks its {member}")
        if not isinstance(value.get("text", ""), str):
            raise Refused("wrong_type", f"the text of a quantity is ignored, but {shown(value['text'])} is not a text")
        number = finite(value["value"])
        unit = self.units.get(value["unit"]) if isinstance(value["unit"], str) else None
        if unit is None:
            raise self._wrong_unit(value["unit"])
        base = to_base(number, unit)
        self._check(base, value)
        held = to_nm(number, unit) if self.in_nm else base
        return Quantity(self.kind, held) if self.keep else held

    @property
    def limits(self) -> str:
        """Return the limits in words, empty when there is none."""
        unit = BASE_UNIT[self.dimension]
        parts = [f"from {self.least:g} {unit}"] if self.least is not None else []
        parts += [f"above {self.above:g} {unit}"] if self.above is not None else []
        return ", ".join([*parts, f"up to {self.most:g} {unit}"] if self.most is not None else parts)

    def _wrong_unit(self, unit: Any) -> Refused:
        taken = ", ".join(dict.fromkeys(known.symbol for known in self.units.values()))
        others = DIMENSIONS_OF.get(unit, ()) if isinstance(unit, str) else ()
        if self.dimension == "temperature_difference" and "temperature" in others:
            return Refused(
                "temperature_difference_unit",
                f"{unit} is a point on a scale; a temperature difference is given in K or degF_diff",
            )
        if others:
            return Refused(
                "wrong_dimension",
                f"{unit} is a unit of {others[0].replace('_', ' ')}, asked is {self.dimension.replace('_', ' ')} "
                f"({taken})",
            )
        return Refused("unknown_unit", f"{shown(unit)} is not a unit we know; taken are {taken}")

    def _check(self, base: float, value: Mapping[str, Any]) -> None:
        low = (self.least is not None and base < self.least) or (self.above is not None and base <= self.above)
        if low or (self.most is not None and base > self.most):
            given = f"{value['value']} {value['unit']}"
            raise Refused("out_of_range", f"{given} lies outside what is taken: {self.limits}")


class Array(fields.List[Any]):
    """A JSON array of at most so many elements; a longer one is refused before its elements are looked at."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> list[Any]:
        if isinstance(value, list):
            for limit in self.validators:
                if isinstance(limit, validate.Length):
                    limit(value)
        return super()._deserialize(value, attr, data, **kwargs)


class QuantityOut(fields.Field[Any]):
    """A quantity in an answer; documents only, answers are never dumped through schemas."""


class OneOf(fields.Field[Any]):
    """An object of one of several shapes; the first shape whose test the value passes reads it.

    Parameters
    ----------
    shapes : sequence of (test, field)
        ``test(value)`` says whether the field is the one to read the value.
    expected : str
        What the shapes are, for the message when none fits.
    """

    def __init__(
        self, shapes: Sequence[tuple[Callable[[Any], bool], fields.Field[Any]]], *, expected: str, **kwargs: Any
    ) -> None:
        super().__init__(**kwargs)
        self.shapes, self.expected = tuple(shapes), expected

    def _bind_to_schema(self, field_name: str, parent: Any) -> None:
        super()._bind_to_schema(field_name, parent)
        for _, field in self.shapes:
            field._bind_to_schema(field_name, self)

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> Any:
        for test, field in self.shapes:
            if test(value):
                return field.deserialize(value, attr, data, **kwargs)
        raise Refused("wrong_shape", f"{shown(value)} is not {self.expected}")


def has(member: str) -> Callable[[Any], bool]:
    """Return a test for ``OneOf``: an object with this member."""
    return lambda value: isinstance(value, Mapping) and member in value


def is_object(value: Any) -> bool:
    """Return whether the value is a JSON object."""
    return isinstance(value, Mapping)


def is_text(value: Any) -> bool:
    """Return whether the value is a JSON string."""
    return isinstance(value, str)


def is_array(value: Any) -> bool:
    """Return whether the value is a JSON array."""
    return isinstance(value, list)


class Blade(QuantityField):
    """A feeler blade by its stamp; becomes a quantity of kind blade_in or blade_mm: a set in inches stays one."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__("clearance", above=0, most=25, **kwargs)

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> Quantity:
        held_nm = super()._deserialize(value, attr, data, **kwargs)
        return Quantity("blade_mm" if value["unit"] in ("mm", "um", "m") else "blade_in", held_nm)

"""Strict JSON at the edge: what a parser forgives, a maintenance record must not.

Refused: NaN and Infinity, repeated member names, nesting beyond ``MAX_DEPTH``, more than ``MOST_VALUES`` values,
anything but UTF-8, lone surrogates (RFC 7493: no answer could repeat them). Written: no NaN, UTF-8, RFC 3339 times
(datetimes are refused here: they are texts by the time they arrive).
"""

import json
import re
from typing import Any, Final, NoReturn

import orjson

MAX_DEPTH: Final = 32
MOST_VALUES: Final = 20_000
"""Members and elements of one text, nested ones included: more than any request needs, and a load on all."""
MOST_DIGITS: Final = 19
"""Sign included: any such number can be written again; RFC 8259, 6: what is longer is not exchanged without loss."""


class NotStrictJSON(ValueError):
    """The text is not JSON as we take it."""


_TEXT: Final = re.compile(r'"[^"\\]*+(?:\\.[^"\\]*+)*+"', re.DOTALL)


def parsed(data: bytes) -> Any:
    """Return the JSON value of the bytes.

    Raises
    ------
    NotStrictJSON
        Not UTF-8, not JSON, NaN, a repeated member name, a lone surrogate, nested too deep, too many values.
    """
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError:
        raise NotStrictJSON("the body is not UTF-8") from None
    if text.count("[") + text.count("{") > MAX_DEPTH:
        _check_depth(text)
    if text.count(",") >= MOST_VALUES and _TEXT.sub("", text).count(",") >= MOST_VALUES:  # one more value than commas
        raise NotStrictJSON(f"more than {MOST_VALUES} members and elements")
    try:
        value = json.loads(text, object_pairs_hook=_members, parse_int=_whole, parse_constant=_not_a_number)
    except NotStrictJSON:
        raise
    except json.JSONDecodeError as error:
        raise NotStrictJSON(f"{error.msg} at line {error.lineno}, column {error.colno}") from None
    except RecursionError:
        raise NotStrictJSON("the nesting is too deep") from None
    if "\\ud" in text or "\\uD" in text:
        _check_surrogates(value)
    return value


def written(value: Any) -> str:
    """Return compact JSON. ``service.render.present`` has refused numbers that are not finite."""
    return orjson.dumps(value).decode()


def _members(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    members = dict(pairs)
    if len(members) != len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise NotStrictJSON(f"the member {twice[:64]!r} stands twice in one object")
    return members


def _whole(digits: str) -> int:
    if len(digits) > MOST_DIGITS:
        raise NotStrictJSON(f"{digits[:40]}... has more digits than a whole number of this job")
    return int(digits)


def _not_a_number(word: str) -> NoReturn:
    raise NotStrictJSON(f"{word} is not a JSON number")


def _check_surrogates(value: Any) -> None:
    """Refuse half of a character, in a text or in a name: no answer could repeat it."""
    try:
        json.dumps(value, ensure_ascii=False).encode("utf-8")
    except UnicodeEncodeError:
        raise NotStrictJSON("a text holds half of a character (a lone surrogate)") from None


def _check_depth(text: str) -> None:
    """Refuse nesting beyond the limit before the parser meets it."""
    depth = 0
    in_string = escaped = False
    for character in text:
        if in_string:
            if escaped:
                escaped = False
            elif character == "\\":
                escaped = True
            elif character == '"':
                in_string = False
        elif character == '"':
            in_string = True
        elif character in "[{":
            depth += 1
            if depth > MAX_DEPTH:
                raise NotStrictJSON(f"nested deeper than {MAX_DEPTH} levels")
        elif character in "]}":
            depth -= 1

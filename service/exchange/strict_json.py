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


_TEXT: Final = re.compile(r'"[^"\\]*+(?:\\.[^"\\]*+)*+(?:"|\\?\Z)', re.DOTALL)
"""A text, also one that is never closed: else each quote in it would be tried as the beginning of another."""
_BRACKET: Final = re.compile(r"[\[\]{}]")
_MANY_DIGITS: Final = re.compile(f"[0-9]{{{MOST_DIGITS}}}")


def parsed(data: bytes) -> Any:
    """Return the JSON value of the bytes.

    Raises
    ------
    NotStrictJSON
        Not UTF-8, not JSON, NaN, a repeated member name, a lone surrogate, nested too deep, too many values.
    """
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as error:
        byte = f"0x{data[error.start]:02x} at byte {error.start}"
        raise NotStrictJSON(f"the body is not UTF-8: {byte}; write it in UTF-8") from None
    if text.count("[") + text.count("{") > MAX_DEPTH or text.count(",") >= MOST_VALUES:
        _check_size(_TEXT.sub("", text))
    try:
        whole = _whole if _MANY_DIGITS.search(text) else None  # asked for each number: only where one is long
        value = json.loads(text, object_pairs_hook=_members, parse_int=whole, parse_constant=_not_a_number)
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
        seen: set[str] = set()
        twice = next(name for name, _ in pairs if name in seen or seen.add(name))  # type: ignore[func-returns-value]
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


def _check_size(without_texts: str) -> None:
    """Refuse too many values and nesting beyond the limit before the parser meets them."""
    containers = without_texts.count("[") + without_texts.count("{")
    if without_texts.count(",") >= MOST_VALUES or containers > MOST_VALUES + 1:  # one more value than commas; the whole
        raise NotStrictJSON(f"more than {MOST_VALUES} members and elements")
    depth = 0
    for bracket in _BRACKET.findall(without_texts):
        if bracket in "[{":
            depth += 1
            if depth > MAX_DEPTH:
                raise NotStrictJSON(f"nested deeper than {MAX_DEPTH} levels")
        else:
            depth -= 1

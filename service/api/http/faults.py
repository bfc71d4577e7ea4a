"""What marshmallow says is wrong, as faults with a JSON Pointer; and schemas as functions that raise our errors.

No flask here: the command line reads its files through the same schemas.
"""

from collections.abc import Callable, Iterator
from typing import Any, Final

from marshmallow import Schema, ValidationError

from service.errors import CannotEvaluate

_MARSHMALLOW_WORDS: Final = {
    "Missing data for required field.": ("required", "is required"),
    "Unknown field.": ("unknown_member", "is not a member that is known here"),
    "Field may not be null.": ("null", "must not be null"),
    "Invalid input type.": ("wrong_type", "must be an object"),
    "Not a valid list.": ("wrong_type", "must be an array"),
}


def faults_of(messages: Any, path: str = "#") -> Iterator[tuple[str, str, str]]:
    """Yield (JSON Pointer, code, detail) of each fault in marshmallow's messages."""
    if isinstance(messages, dict):
        if "code" in messages and "detail" in messages and isinstance(messages["detail"], str):
            yield path, messages["code"], messages["detail"]
            return
        for name, below in messages.items():
            step = "" if name == "_schema" else "/" + str(name).replace("~", "~0").replace("/", "~1")
            yield from faults_of(below, path + step)
    elif isinstance(messages, list):
        for below in messages:
            yield from faults_of(below, path)
    else:
        code, detail = _MARSHMALLOW_WORDS.get(str(messages), ("invalid", str(messages)))
        yield path, code, detail


def loader(schema: Schema, what: str) -> Callable[[Any], dict[str, Any]]:
    """Return the schema as a function that loads a document, for what knows no marshmallow.

    Raises
    ------
    CannotEvaluate
        ``invalid``, with ``faults``: ``what`` cannot be read.
    """

    def load(document: Any) -> dict[str, Any]:
        try:
            loaded: dict[str, Any] = schema.load(document)
        except ValidationError as error:
            faults = [{"pointer": at, "code": code, "detail": said} for at, code, said in faults_of(error.messages)]
            raise CannotEvaluate(f"{what} cannot be read", code="invalid", faults=faults) from None
        return loaded

    return load

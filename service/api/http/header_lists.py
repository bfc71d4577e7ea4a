"""Header fields that hold lists of any length: fields of one name are joined, and there may be a hundred of them."""

from typing import Final

from flask import request

from service.api.http.problems import ProblemRaised

MOST_CHARACTERS: Final = 4_096
"""Of one list: a hundred tags of ours, or four times what browsers send in Accept."""


def header_list(name: str) -> str | None:
    """Return a header field that holds a list, None without it.

    Raises
    ------
    ProblemRaised
        ``headers_too_large``: longer than ``MOST_CHARACTERS``.
    """
    given = request.headers.get(name)
    if given is not None and len(given) > MOST_CHARACTERS:
        raise ProblemRaised(
            "headers_too_large",
            f"{name} has {len(given)} characters; at most {MOST_CHARACTERS} are read",
            faults=[{"header": name, "code": "headers_too_large", "detail": "too long"}],
        )
    return given

"""ETags ``"<version>.<media>.<units>"`` and the preconditions that rest on them (RFC 9110)."""

from service.api.header_lists import header_list
from service.api.problems import ProblemRaised


def etag(version: int, units: str, media: str = "json") -> str:
    """Return the strong tag of one representation of a version."""
    return f'"{version}.{media}.{units}"'


def not_modified(tag: str) -> bool:
    """Return whether If-None-Match names the tag: the caller holds this representation."""
    given = header_list("If-None-Match")
    return given is not None and (given.strip() == "*" or tag in (_opaque(part) for part in given.split(",")))


def required_version(current: int, units: str) -> int:
    """Return the version that If-Match names: the one that the change may be based on.

    Only the version part is compared, and ``W/`` before one of our own tags is accepted: some proxies add it.

    Raises
    ------
    ProblemRaised
        428 without If-Match; 412 with the current ETag when no tag names the current version.
    """
    given = header_list("If-Match")
    if given is None:
        raise ProblemRaised(
            "precondition_required",
            "send If-Match with the ETag that the change is based on",
            headers={"ETag": etag(current, units)},
        )
    named = {_version(part) for part in given.split(",")}
    if given.strip() == "*" or current in named:
        return current
    raise ProblemRaised(
        "stale_version",
        f"the record is at version {current}; read it again and repeat the change",
        headers={"ETag": etag(current, units)},
        faults=[{"header": "If-Match", "code": "stale_version", "detail": "does not name the current version"}],
    )


def _opaque(tag: str) -> str:
    return tag.strip().removeprefix("W/")


def _version(tag: str) -> int | None:
    number = _opaque(tag).strip('"').split(".")[0]
    return int(number) if number.isascii() and number.isdigit() and len(number) <= 18 else None

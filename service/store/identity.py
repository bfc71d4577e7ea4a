"""Identifiers: UUIDv7, made here and never by the database. They are names, not secrets."""

from uuid import UUID

import uuid_utils


def new_id() -> str:
    """Return a new identifier; within a process each one sorts after those before it."""
    return str(uuid_utils.uuid7())


def canonical_id(text: str) -> str | None:
    """Return the identifier as it is stored, or None when the text is not one (then nothing has that name)."""
    if len(text) != 36:
        return None
    try:
        known = str(UUID(text))
    except ValueError:
        return None
    return known if known == text.lower() else None  # UUID() takes hyphens anywhere

"""What an answer says besides its numbers: what is missing, what is blocked, what to read later, where it is from."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from service.errors import Text


@dataclass(frozen=True, slots=True)
class Missing:
    """A fact that a rule asks for and did not get: why it matters and how to get it."""

    field: str
    why: Text
    how: Text

    def record(self) -> dict[str, Any]:
        """Return the wire members, quantities still unit-neutral."""
        return {"field": self.field, "why": self.why, "how": self.how}


@dataclass(frozen=True, slots=True)
class Blocked:
    """Something we evaluated and that must not be done like this."""

    code: str
    detail: Text
    ways_out: tuple[Text, ...]
    facts: Mapping[str, Any] = field(default_factory=dict)
    position: str | None = None

    def record(self) -> dict[str, Any]:
        """Return the wire members, quantities still unit-neutral."""
        record: dict[str, Any] = {"code": self.code}
        if self.position is not None:
            record["position"] = self.position
        return record | {"detail": self.detail, "facts": dict(self.facts), "ways_out": list(self.ways_out)}


@dataclass(frozen=True, slots=True)
class Warned:
    """Something that may be read later."""

    code: str
    detail: Text

    def record(self) -> dict[str, Any]:
        """Return the wire members, quantities still unit-neutral."""
        return {"code": self.code, "detail": self.detail}


@dataclass(frozen=True, slots=True)
class Source:
    """Where a number comes from. ``kind``: standard, practice, handbook, site_chart, calculation, regulation."""

    id: str
    title: str
    kind: str

    def record(self) -> dict[str, Any]:
        """Return the wire members."""
        return {"id": self.id, "title": self.title, "kind": self.kind}

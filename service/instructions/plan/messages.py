"""The catalogue: facts that are several words long, questions and findings, as whole messages with named places.

``data/messages.toml`` holds the English messages; each is the key by which a catalogue of another language finds its
own.
"""

import tomllib
from collections.abc import Iterable, Mapping
from importlib.resources import files
from typing import Any, Final

from service.catalogue import Catalogue
from service.errors import Text
from service.units import Quantity

SAYS: Final = Catalogue("service.instructions.plan")
message = SAYS.message
known_message = SAYS.known_message
listed = SAYS.listed


def table(name: str) -> Mapping[str, Any]:
    """Return one of the data files of the plan."""
    return _contents(name)


def _contents(name: str) -> Mapping[str, Any]:
    path = files("service.instructions.plan") / "data" / f"{name}.toml"
    return tomllib.loads(path.read_text(encoding="utf-8"))


def between(bounds: Mapping[str, Any] | None) -> Text | None:
    """Return ``min to max``; None when either is not known."""
    if bounds is None:
        return None
    return known_message("range", min=bounds.get("min"), max=bounds.get("max"))


def stack(blades: Iterable[Quantity] | None) -> Text | None:
    """Return the blades of one stack by their stamps; None for none."""
    found: Text | None = None
    for blade in blades or ():
        found = (blade,) if found is None else message("stack", first=found, next=blade)
    return found

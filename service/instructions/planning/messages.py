"""What the planning of a job says: whole messages of the catalogue ``data/messages.toml``."""

from collections.abc import Iterable
from typing import Final

from service.catalogue import Catalogue
from service.errors import Text

_SAYS: Final = Catalogue("service.instructions.planning")
message = _SAYS.message


def listed(items: Iterable[Text]) -> Text | None:
    """Return ``a, b, c``; None for nothing."""
    found: Text | None = None
    for item in items:
        found = item if found is None else message("more", first=found, next=item)
    return found

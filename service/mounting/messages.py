"""What this package says: whole messages of ``data/messages.toml``, never put together in code."""

from typing import Final

from service.catalogue import Catalogue

SAYS: Final = Catalogue("service.mounting")
message = SAYS.message

"""Names of the media types in which lists and documents are exchanged."""

from typing import Final

JSON: Final = "application/json"
NDJSON: Final = "application/x-ndjson"
CSV: Final = "text/csv"

"""A chart as a function loads it, for what knows no schemas: the command line. No web framework is loaded with it."""

from typing import Final

from service.api.books.schemas import ChartRequest
from service.api.http.faults import loader

LOAD_CHART: Final = loader(ChartRequest(), "the chart")

"""The documentation as pages of this service: Markdown, and what the service knows of itself; no script, nothing from
outside."""

from service.render.docs.known import Example, Known, blocked, examples
from service.render.docs.layout import NEEDING_THE_CONTRACT, PAGES, home_page, page, policy
from service.render.docs.reference import METHODS
from service.rules import rules

__all__ = [
    "METHODS",
    "NEEDING_THE_CONTRACT",
    "PAGES",
    "Example",
    "Known",
    "blocked",
    "examples",
    "home_page",
    "page",
    "policy",
    "rules",
]

"""The pages of the desk put together: one frame, one style, every text escaped."""

from functools import cache
from typing import Any, Final

import jinja2

from service.render.desk.words import FILTERS
from service.render.markup import content_policy, environment, style
from service.words import UnitSystem

STYLE: Final = "desk.css"
PARTS: Final = (
    ("today", "/desk", "Today"),
    ("machines", "/desk/machines", "Machines"),
    ("orders", "/desk/orders", "Orders"),
    ("failing", "/desk/failing", "Bearings that fail more"),
    ("lives", "/desk/lives", "Lives"),
    ("replacements", "/desk/replacements", "Replacements to come"),
    ("mounting", "/desk/mounting", "Mounting and life"),
    ("books", "/desk/books", "Books"),
)
"""The parts of the desk: name, address, what it is called."""


def page_html(template: str, units: UnitSystem, **context: Any) -> str:
    """Return a page.

    Parameters
    ----------
    template : str
        Its name, without what all of them begin and end with.
    context : dict
        ``title``; ``here``, the part it belongs to, "" for none; ``who`` is signed in, None for nobody; what the
        template shows.
    """
    return _environment(units).get_template(f"desk_{template}.html").render(style=style(STYLE), parts=PARTS, **context)


@cache
def policy() -> str:
    """Return the Content-Security-Policy of the pages: their one style, their own forms, nothing else."""
    return content_policy(STYLE, forms=True)


@cache
def _environment(units: UnitSystem) -> jinja2.Environment:
    found = environment(units).overlay()
    found.filters = {**found.filters, **FILTERS}
    return found

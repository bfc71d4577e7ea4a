"""Lists for a desk, in sections of lines: as plain text, and as what a page of two columns is set from."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from textwrap import wrap
from typing import Final

TICK: Final = "[ ]"
NONE: Final = (("none", ""),)
"""The lines of a section that has nothing to say: that is said."""
WIDTH: Final = 120


@dataclass(frozen=True, slots=True)
class Section:
    """A section: its title, and its lines with what stands before each."""

    title: str
    lines: tuple[tuple[str, str], ...]


def section_text(title: str, sections: Iterable[Section]) -> str:
    """Return sections as plain text, lines of 120 columns at most."""
    return "\n".join(_lines(title, sections)) + "\n"


def _lines(title: str, sections: Iterable[Section]) -> Iterator[str]:
    yield title
    for section in sections:
        yield ""
        yield section.title.upper()
        for lead, said in section.lines:
            whole = f"  {lead} {said}".rstrip() if lead else f"     {said}"
            yield from wrap(whole, WIDTH, subsequent_indent="      ", drop_whitespace=True, break_on_hyphens=False)

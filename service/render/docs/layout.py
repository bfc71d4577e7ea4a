"""The pages of the documentation put together: contents, neighbours, index, and everything on one page."""

import re
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Final

import jinja2
from markupsafe import Markup

from service.render.docs import known as shown
from service.render.docs.known import Known
from service.render.docs.marked import START, Heading, Part, Term, address, inline, marked, title_of
from service.render.docs.reference import shown_reference
from service.render.markup import style_policy

TEMPLATES: Final = Path(__file__).parent / "templates"
CONTENTS: Final = {
    "Begin": (START, "examples", "orders", "readiness", "planning", "desk", "addresses"),
    "Connect": ("maps", "events", "standards"),
    "The record": ("books", "import", "history"),
    "Run it": ("operate", "size", "security", "audit", "backup"),
    "Look it up": ("problems", "blocked", "rules", "tables", "api", "changes"),
}
"""The pages in the order in which they are read, by group; each is a file in pages/."""
GENERATED: Final[dict[str, Callable[[Known], shown.Shown]]] = {
    "examples": shown.shown_examples,
    "problems": shown.shown_problems,
    "blocked": shown.shown_blocked,
    "rules": shown.shown_rules,
    "tables": shown.shown_tables,
    "api": shown_reference,
}
"""What follows the words of a page: a template of its name and what is shown in it."""
ORDER: Final = tuple(name for names in CONTENTS.values() for name in names)
WHOLE: Final = {"index": "Index", "all": "Everything on one page"}
PAGES: Final = {"" if name == START else name: title_of(name) for name in ORDER} | WHOLE
"""Title of each page by the end of its address."""
NEEDING_THE_CONTRACT: Final = frozenset({"api", *WHOLE})
_HEADING: Final = re.compile(r"(</?h)([2-5])(?=[ >])")
_LINK: Final = re.compile(r'href="(?:(?P<own>(?=#))|/docs(?:/(?P<page>[a-z]+))?)(?:#(?P<anchor>[\w-]+))?"')


def page(name: str, known: Known) -> str:
    """Return the page at /docs/``name``, "" for /docs itself.

    Raises
    ------
    KeyError
        ``PAGES`` has no such page.
    """
    title = PAGES[name]
    if name == "index":
        return _laid_out(name, title, _index(known), ())
    if name == "all":
        return _laid_out(name, title, _everything(known), tuple(_titles()))
    part = _part(name or START, known)
    return _laid_out(name, title, part.body, part.headings)


@cache
def home_page(version: str) -> str:
    """Return the page at /, which says what this is and where to go on."""
    return _environment().get_template("home.html").render(version=version, style=_style())


@cache
def policy() -> str:
    """Return the Content-Security-Policy of the pages: nothing but their style."""
    return style_policy(_style())


def _part(name: str, known: Known) -> Part:
    """Return what stands on a page: its words, then what the service knows."""
    words = marked(name)
    if name not in GENERATED:
        return words
    more = GENERATED[name](known)
    body = words.body + Markup(_environment().get_template(f"{name}.html").render(more.values))
    return Part(words.title, body, words.headings + more.headings, words.terms + more.terms)


def _laid_out(name: str, title: str, body: Markup, headings: tuple[Heading, ...]) -> str:
    here = ORDER.index(name or START) if name not in WHOLE else None
    return (
        _environment()
        .get_template("page.html")
        .render(
            title=title,
            name=START if name == "" else name,
            body=body,
            headings=headings,
            contents=CONTENTS,
            whole=WHOLE,
            before=ORDER[here - 1] if here else None,
            after=ORDER[here + 1] if here is not None and here + 1 < len(ORDER) else None,
            style=_style(),
        )
    )


def _titles() -> list[Heading]:
    return [Heading(2, f"page-{name}", title_of(name)) for name in ORDER]


def _everything(known: Known) -> Markup:
    """Return all pages below each other: headings one level down, links to what stands on the same page."""
    parts = [(name, title_of(name), _moved(name, _part(name, known).body)) for name in ORDER]
    return Markup(_environment().get_template("all.html").render(parts=parts))


def _moved(page: str, body: Markup) -> Markup:
    """Return what stands on a page as a part of a larger one: ``#logs`` of ``operate`` is ``#operate.logs`` there."""

    def moved(found: re.Match[str]) -> str:
        to = page if found["own"] is not None else found["page"] or START
        if to in WHOLE:
            return found[0]
        return f'href="#{to}.{found["anchor"]}"' if found["anchor"] else f'href="#page-{to}"'

    lower = _HEADING.sub(lambda h: f"{h[1]}{int(h[2]) + 1}", body)
    return Markup(_LINK.sub(moved, lower.replace(' id="', f' id="{page}.')))


def _index(known: Known) -> Markup:
    """Return the words of all pages by their first letter, each with the pages it stands on."""
    entries: dict[str, dict[str, str]] = {}
    for name in ORDER:
        part = _part(name, known)
        headings = [Term(each.title, each.id) for each in part.headings if not each.id.startswith("schema-")]
        for term in (Term(part.title, ""), *headings, *part.terms):
            anchor = "#" + term.id if term.id else ""
            entries.setdefault(term.word, {}).setdefault(part.title, address(name) + anchor)
    letters: dict[str, list[tuple[str, dict[str, str]]]] = {}
    for word in sorted(entries, key=_sorted_by):
        letters.setdefault(_letter(word), []).append((word, entries[word]))
    return Markup(_environment().get_template("index.html").render(letters=letters))


def _sorted_by(word: str) -> tuple[str, str]:
    return re.sub(r"[^a-z0-9 ]", "", word.lower()).strip(), word


def _letter(word: str) -> str:
    return next((letter.upper() for letter in word if letter.isascii() and letter.isalpha()), "0-9")


@cache
def _style() -> Markup:
    return Markup((TEMPLATES / "docs.css").read_text(encoding="utf-8"))


@cache
def _environment() -> jinja2.Environment:
    found = jinja2.Environment(
        loader=jinja2.FileSystemLoader(TEMPLATES),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=jinja2.StrictUndefined,
        auto_reload=False,
    )
    found.filters["address"] = address
    found.filters["inline"] = inline
    found.filters["title_of"] = title_of
    return found

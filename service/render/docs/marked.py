"""A page of the documentation from its Markdown (CommonMark and tables): raw HTML, images and scripts are not taken."""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Final

from markupsafe import Markup

if TYPE_CHECKING:
    from markdown_it import MarkdownIt
    from markdown_it.token import Token

FOLDER: Final = Path(__file__).parent / "pages"
START: Final = "start"
"""The page at /docs itself."""
LONGEST_TERM: Final = 60
_NO_SLUG: Final = re.compile(r"[^a-z0-9]+")


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading inside a page: its level (2 or more), its anchor, its words."""

    level: int
    id: str
    title: str


@dataclass(frozen=True, slots=True)
class Term:
    """A word of the index and the anchor that it leads to; no anchor: the top of the page."""

    word: str
    id: str


@dataclass(frozen=True, slots=True)
class Part:
    """What stands on a page, below its title."""

    title: str
    body: Markup
    headings: tuple[Heading, ...]
    terms: tuple[Term, ...]


def inline(text: str) -> Markup:
    """Return a sentence of Markdown, such as the descriptions of an OpenAPI document are, as markup."""
    return Markup(_parser().renderInline(text))


def slug(title: str) -> str:
    """Return the anchor of a heading."""
    return _NO_SLUG.sub("-", title.lower()).strip("-")


def address(name: str) -> str:
    """Return where a page is served."""
    return "/docs" if name == START else f"/docs/{name}"


@cache
def title_of(name: str) -> str:
    """Return the title of a page: its first line."""
    with (FOLDER / f"{name}.md").open(encoding="utf-8") as file:
        return file.readline().removeprefix("# ").strip()


@cache
def marked(name: str) -> Part:
    """Return a page as it is written: its first line is its title, other headings get anchors.

    A link to another page is written as it works beside the file, ``operate.md#logs``, and leads to where the page is
    served. What is **bold**, and the code in the first cell of a row, goes into the index.
    """
    tokens = _parser().parse((FOLDER / f"{name}.md").read_text(encoding="utf-8"))
    tokens = tokens[3:]  # after the title
    headings, terms = [], []
    anchor = ""
    for place, token in enumerate(tokens):
        if token.type == "heading_open":
            words = _words(tokens[place + 1])
            anchor = slug(words)
            token.attrSet("id", anchor)
            headings.append(Heading(int(token.tag[1:]), anchor, words))
        elif token.type == "inline":
            _lead_links(token)
            terms += [Term(word, anchor) for word in _terms(tokens, place)]
    _label_cells(tokens)
    body = Markup(_parser().renderer.render(tokens, _parser().options, {}))
    return Part(title_of(name), body, tuple(headings), tuple(dict.fromkeys(terms)))


@cache
def _parser() -> "MarkdownIt":
    from markdown_it import MarkdownIt  # with the first page: starting must not wait for it

    return MarkdownIt("commonmark", {"html": False}).enable("table").disable("image")


def _words(inline: "Token") -> str:
    return "".join(map(_word, inline.children or ()))


def _word(child: "Token") -> str:
    return " " if child.type == "softbreak" else child.content


def _lead_links(inline: "Token") -> None:
    for child in inline.children or ():
        target = child.attrGet("href") if child.type == "link_open" else None
        if isinstance(target, str) and ":" not in target and not target.startswith("/"):
            page, _, anchor = target.partition("#")
            served = address(page.removesuffix(".md")) if page else ""
            child.attrSet("href", served + ("#" + anchor if anchor else ""))


def _terms(tokens: Sequence["Token"], place: int) -> Iterator[str]:
    """Yield the words of a text that go into the index."""
    children = tokens[place].children or ()
    first_cell = place >= 2 and tokens[place - 1].type == "td_open" and tokens[place - 2].type == "tr_open"
    strong: list[str] | None = None
    for child in children:
        if child.type == "strong_open":
            strong = []
        elif child.type == "strong_close" and strong is not None:
            word, strong = "".join(strong).rstrip(".:, "), None
            if word and len(word) <= LONGEST_TERM:
                yield word
        elif strong is not None:
            strong.append(_word(child))
        elif first_cell and child.type == "code_inline" and len(child.content) <= LONGEST_TERM:
            yield child.content


def _label_cells(tokens: Sequence["Token"]) -> None:
    """Give each cell the head of its column, which stands beside it where the table is too wide for the screen."""
    heads: list[str] = []
    column = 0
    for place, token in enumerate(tokens):
        if token.type == "thead_open":
            heads = []
        elif token.type == "tr_open":
            column = 0
        elif token.type == "th_open":
            heads.append(_words(tokens[place + 1]))
            token.attrSet("scope", "col")
        elif token.type == "td_open":
            if heads[column]:
                token.attrSet("data-label", heads[column])
            column += 1

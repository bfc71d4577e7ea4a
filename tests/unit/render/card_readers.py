"""Reads cards back: what a person, a screen reader or another program finds on them."""

import re
from html.parser import HTMLParser

import pypdfium2
from markdown_it import MarkdownIt

VOID = {"meta", "input", "br", "hr", "link", "img"}


class Page(HTMLParser):
    """An HTML page: its text outside of pictures and style, its elements with their attributes, in order."""

    def __init__(self, html):
        super().__init__(convert_charrefs=True)
        self.elements, self.open, self.faults = [], [], []
        self.pieces, self.pictures = [], []
        self.feed(html)
        self.close()
        if self.open:
            self.faults.append(f"left open: {self.open}")

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        if tag in VOID:
            return
        if not self.open or self.open.pop() != tag:
            self.faults.append(f"</{tag}> closes nothing")

    def handle_data(self, data):
        if "style" in self.open:
            return
        (self.pictures if "svg" in self.open else self.pieces).append(data)

    @property
    def text(self):
        """The text outside of pictures, on one line."""
        return plain("".join(self.pieces))

    def all(self, tag):
        """The attributes of every element of a name."""
        return [attributes for name, attributes in self.elements if name == tag]


def plain(text):
    """A text on one line."""
    return " ".join(text.replace("\u00a0", " ").split())


def html_text(html):
    """The text of an HTML card."""
    return Page(html).text


def markdown_text(markdown):
    """The text of a markdown card, as a system that renders CommonMark shows it."""
    return html_text(MarkdownIt("commonmark").render(markdown))


def pdf_pages(pdf):
    """The text of each page of a PDF, the foot left out."""
    document = pypdfium2.PdfDocument(pdf)
    try:
        pages = []
        for number in range(len(document)):
            page = document[number].get_textpage().get_text_bounded()
            pages.append(plain(re.sub(r"page \d+ of \d+", " ", page)))
        return pages
    finally:
        document.close()

"""Room for words, breaking of lines, labels kept apart, and the writing of SVG."""

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from service.render.pictures.drawing import Drawing, Path, arrow, spread, text_width, wrapped
from service.render.pictures.svg import svg
from tests.unit.render.pictures import WIDTHS, parsed, points

TEXT = st.text(st.characters(codec="utf-8", exclude_categories=("Cc", "Cs", "Cf", "Co", "Cn")), max_size=120)


def test_no_letter_is_wider_than_the_room_reckoned_for_it() -> None:
    """Against the advance widths of the font files of DejaVu Sans 2.37, regular and bold."""
    narrow = [
        (char, bold)
        for bold, widths in WIDTHS.items()
        for char, width in widths.items()
        if text_width(char, 1.0, bold=bold) < width - 1e-9
    ]
    assert narrow == []
    assert all(len(widths) == 95 for widths in WIDTHS.values())  # every printable letter of ASCII


@given(TEXT, st.floats(20, 400))
def test_broken_lines_fit_and_lose_nothing(text: str, room: float) -> None:
    lines = list(wrapped(text, room, 12.0))
    assert "".join(lines).replace(" ", "") == text.replace(" ", "")
    assert all(text_width(line, 12.0) <= room for line in lines if len(line) > 1)


@given(st.lists(st.tuples(st.floats(0, 300), st.floats(1, 25)), max_size=12))
def test_labels_keep_their_order_and_their_distance(pieces: list[tuple[float, float]]) -> None:
    pieces.sort()
    centres = spread([centre for centre, _ in pieces], [length for _, length in pieces], 0.0, 300.0)
    edges = [(c - length / 2, c + length / 2) for c, (_, length) in zip(centres, pieces, strict=True)]
    assert all(before[1] <= after[0] + 1e-6 for before, after in pairwise(edges))
    assert all(edge[0] >= -1e-6 and edge[1] <= 300 + 1e-6 for edge in edges)


def test_labels_with_room_stay_where_they_are() -> None:
    assert spread([50.0, 100.0, 200.0], [20.0, 20.0, 20.0], 0.0, 300.0) == [50.0, 100.0, 200.0]


def test_two_labels_at_one_place_share_the_way() -> None:
    assert spread([100.0, 100.0], [20.0, 20.0], 0.0, 300.0) == [90.0, 110.0]


@given(st.floats(0, 100), st.floats(0, 100))
def test_the_tip_of_an_arrow_is_its_end(start: float, end: float) -> None:
    drawing = Drawing("arrow")
    drawing.add(*arrow((start, 5.0), (end, 5.0), part="a"))
    head = parsed(svg(drawing))[-1]
    assert abs(points(head)[0][0] - end) <= 0.01


@given(TEXT)
def test_any_text_is_escaped_and_comes_back(text: str) -> None:
    drawing = Drawing(text)
    drawing.paragraph(f"x{text}x")
    root = parsed(svg(drawing, name="one"))
    assert root[0].text == (text or None)
    written = "".join(element.text or "" for element in root.iter("{http://www.w3.org/2000/svg}text"))
    assert written.replace(" ", "") == f"x{text}x".replace(" ", "")


def test_two_pictures_on_a_page_have_ids_of_their_own() -> None:
    one, other = (parsed(svg(Drawing("t"), name=name)) for name in ("a", "b"))
    assert one.attrib["aria-labelledby"] == "a-title a-desc"
    assert (one[0].attrib["id"], one[1].attrib["id"]) == ("a-title", "a-desc")
    assert other.attrib["aria-labelledby"] == "b-title b-desc"


@given(st.lists(st.tuples(st.floats(0, 400), st.floats(0, 400)), min_size=2, max_size=9), st.booleans())
def test_a_line_through_points_comes_back_open_or_closed(corners: list[tuple[float, float]], closed: bool) -> None:
    drawing = Drawing("line", marks=[Path(tuple(corners), 2.0, closed=closed)])
    mark = parsed(svg(drawing))[-1]
    assert mark.tag.endswith("polygon" if closed else "polyline")
    assert all(abs(x - a) <= 0.01 and abs(y - b) <= 0.01 for (x, y), (a, b) in zip(points(mark), corners, strict=True))

"""Lines within a width: nothing is lost, nothing is wider, a number is never cut from its unit."""

import re

from hypothesis import given
from hypothesis import strategies as st

from service import units
from service.render.card.plain_text import BOUND, Writer, cleaned, columns, unbound

QUANTITIES = st.one_of(
    st.integers(0, 2_000_000).map(units.clearance),
    st.floats(0, 3000, allow_nan=False).map(units.dimension),
    st.floats(0.1, 5000, allow_nan=False).map(units.torque),
    st.sampled_from([12_700, 63_500, 101_600]).map(lambda nm: units.Quantity("blade_in", nm)),
)
TEXTS = st.lists(st.one_of(st.text(max_size=60), QUANTITIES), min_size=1, max_size=8).map(tuple)


@given(text=TEXTS, width=st.integers(40, 132), ascii_only=st.booleans(), system=st.sampled_from(["metric", "inch"]))
def test_lines_keep_within_the_width_and_lose_nothing(text, width, ascii_only, system):
    writer = Writer(units=system, width=width, ascii_only=ascii_only)
    lines = unbound(writer.lines(text, first="1234 ", rest="     "))
    assert all(columns(line) <= width for line in lines)
    whole = re.sub(r"\s", "", "".join(lines)).removeprefix("1234")
    assert whole == re.sub(r"\s", "", writer.words(text))


@given(quantity=QUANTITIES, before=st.integers(0, 70), width=st.integers(40, 132))
def test_a_number_and_its_unit_stand_on_one_line(quantity, before, width):
    writer = Writer(units="metric", width=width, ascii_only=True)
    lines = unbound(writer.lines(("x " * before, quantity, " and on."), rest="        "))
    printed = writer.quantity(quantity).replace(BOUND, " ")
    assert any(printed in line for line in lines)


@given(st.text())
def test_ascii_means_seven_bits_and_no_control_characters(text):
    plain = cleaned(text, ascii_only=True)
    assert plain.isascii()
    assert plain.isprintable()
    assert "?" not in plain or "?" in text or ";" in text  # NFKD of the Greek question mark is a semicolon


def test_signs_have_their_usual_ascii_form():
    assert cleaned("20 °C ± 5 µm – “Lüfter №1”", ascii_only=True) == '20 degC +/- 5 um - "Lufter No1"'


def test_letters_without_an_ascii_form_are_written_as_their_escape():
    assert cleaned("风机", ascii_only=True) == "\\u98ce\\u673a"
    assert cleaned("风机", ascii_only=False) == "风机"


def test_a_control_sequence_cannot_reach_the_terminal():
    assert cleaned("\x1b[2Jfan", ascii_only=False) == "\\x1b[2Jfan"

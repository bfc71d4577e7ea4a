"""Sentences with places for facts. Expected texts are written by hand from the rule that nothing unknown is printed."""

import pytest

from service import units
from service.errors import TableError
from service.instructions.plan.template import filled, joined, listed, sentence

BLADE = units.clearance(63_500)


def test_a_number_stays_a_number_between_words():
    assert filled([sentence("Leave {left}.")], {"left": BLADE}, frozenset()) == ("Leave ", BLADE, ".")


def test_words_alone_make_a_plain_string():
    assert filled([sentence("Stop {tag}.")], {"tag": "FAN-1"}, frozenset()) == "Stop FAN-1."


def test_a_fact_of_several_parts_is_said_whole():
    facts = {"window": (BLADE, " to ", BLADE)}
    assert filled([sentence("Window {window}.")], facts, frozenset()) == ("Window ", BLADE, " to ", BLADE, ".")


def test_what_is_not_known_is_replaced_by_what_to_get():
    asking = sentence({"say": "Shaft {shaft}.", "without": "Measure the shaft."})
    assert filled([asking], {"shaft": None}, frozenset()) == "Measure the shaft."


def test_an_optional_sentence_is_left_out_when_its_fact_is_not_known():
    text = filled([sentence("Go on."), sentence({"say": "Aim {aim}.", "optional": True})], {}, frozenset())
    assert text == "Go on."


def test_a_sentence_that_has_no_way_to_be_said_is_refused():
    with pytest.raises(TableError, match="for want of shaft"):
        filled([sentence("Shaft {shaft}.")], {"shaft": None}, frozenset())


@pytest.mark.parametrize(
    ("flags", "said"), [({"free"}, "No ring."), ({"locating"}, ""), ({"free", "locating"}, ""), (set(), "")]
)
def test_a_sentence_is_said_only_where_all_its_conditions_hold(flags, said):
    each = sentence({"say": "No ring.", "when": ["free", "!locating"]})
    assert filled([each], {}, frozenset(flags)) == said


def test_an_unknown_member_of_a_sentence_is_refused():
    with pytest.raises(TableError, match="say, when, without and optional"):
        sentence({"say": "Go on.", "wenn": ["free"]})


def test_neighbouring_words_run_together_and_numbers_do_not():
    assert joined(["a", "b", BLADE, "", "c", "d"]) == ("ab", BLADE, "cd")
    assert joined([]) == ""


def test_a_list_reads_like_a_list():
    assert listed(["tail", "middle", "drive"]) == "tail, middle and drive"
    assert listed([("at ", BLADE), "tail"]) == ("at ", BLADE, " and tail")

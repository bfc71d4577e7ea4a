"""Sentences with places for facts. Expected texts are written by hand from the rule that nothing unknown is printed."""

import pytest

from service import units
from service.errors import TableError
from service.instructions.plan.messages import known_message, listed, message, stack
from service.sentences import filled, joined, said, sentence

BLADE = units.clearance(63_500)
NO_FLAGS = frozenset()


def test_a_number_stays_a_number_between_words():
    assert filled([sentence("Leave {left}.")], {"left": BLADE}, NO_FLAGS) == ("Leave ", BLADE, ".")


def test_words_alone_make_a_plain_string():
    assert filled([sentence("Stop {tag}.")], {"tag": "FAN-1"}, NO_FLAGS) == "Stop FAN-1."


def test_a_fact_of_several_parts_is_said_whole():
    facts = {"window": (BLADE, " to ", BLADE)}
    assert filled([sentence("Window {window}.")], facts, NO_FLAGS) == ("Window ", BLADE, " to ", BLADE, ".")


def test_what_is_not_known_is_replaced_by_what_to_get():
    asking = sentence({"say": "Shaft {shaft}.", "without": "Measure the shaft."})
    assert filled([asking], {"shaft": None}, NO_FLAGS) == "Measure the shaft."


def test_a_sentence_whose_fact_is_not_known_is_left_out():
    assert filled([sentence("Go on."), sentence("Aim {aim}.")], {}, NO_FLAGS) == "Go on."
    assert said(sentence("Aim {aim}."), {}, NO_FLAGS) is None


@pytest.mark.parametrize(
    ("flags", "text"), [({"free"}, "No ring."), ({"locating"}, ""), ({"free", "locating"}, ""), (set(), "")]
)
def test_a_sentence_is_said_only_where_all_its_conditions_hold(flags, text):
    each = sentence({"say": "No ring.", "when": ["free", "!locating"]})
    assert filled([each], {}, frozenset(flags)) == text


def test_an_unknown_member_of_a_sentence_is_refused():
    with pytest.raises(TableError, match="say, when, without and apart"):
        sentence({"say": "Go on.", "wenn": ["free"]})


def test_neighbouring_words_run_together_and_numbers_do_not():
    assert joined(["a", "b", BLADE, "", "c", "d"]) == ("ab", BLADE, "cd")
    assert joined([]) == ""


def test_a_list_reads_like_a_list():
    assert listed(["tail", "middle", "drive"]) == "tail, middle and drive"
    assert listed(["tail", "drive"]) == "tail and drive"
    assert listed([("at ", BLADE), "tail"]) == ("at ", BLADE, " and tail")
    assert listed([]) is None


def test_a_stack_of_blades_is_said_by_its_stamps():
    assert stack([BLADE, BLADE]) == (BLADE, " + ", BLADE)
    assert stack(None) is None


def test_a_message_that_is_not_in_the_catalogue_or_not_filled_is_refused():
    assert known_message("range", min=BLADE, max=None) is None
    with pytest.raises(TableError, match="not filled"):
        message("range", min=BLADE)
    with pytest.raises(TableError, match="no message"):
        message("hello")

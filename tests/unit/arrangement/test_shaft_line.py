"""The whole answer: members, sources and what is asked, for a machine on which everything but one fact is known."""

from service.arrangement.shaft_line import Support
from service.reference.housings import housing_from_size
from tests.unit.arrangement.machines import B22216, codes, narrow_516, two_supports


def test_a_known_machine_asks_only_for_the_load_direction_and_names_its_three_sources():
    pair = tuple(Support(name, at, B22216, narrow_516()) for name, at in (("tail", 0.0), ("drive", 3000.0)))
    record = two_supports(supports=pair).record()
    assert record["missing"] == [
        {
            "field": "load_direction",
            "why": "an upward pull loads cap and bolts",
            "how": "ask where the belt pulls",
        }
    ]
    assert record["blocked"] == record["warnings"] == []
    assert [one["id"] for one in record["sources"]] == [
        "materials",
        "housings-metric",
        "practice-locating-nearest-drive",
    ]
    assert record["sources"][0]["title"] == "expansion of carbon steel 11.7e-6/K, textbook tables"


def test_each_decision_carries_its_facts_and_what_would_change_it():
    tail, drive = two_supports().record()["supports"]
    assert tail["decision"]["facts"]["distance_to_drive"].value == 3400.0
    assert drive["decision"]["facts"]["distance_to_drive"].value == 400.0
    assert all(one["decision"]["would_change"] for one in (tail, drive))


def test_a_bearing_of_another_bore_in_a_housing_of_its_diameter_is_warned_about():
    # metric 613 serves bore 65 with the same 140 mm seat bore as 516, bore 80 (housing tables)
    wide_613 = housing_from_size(size="613", dimensions="metric", seat_design="wide_seat")
    pair = (
        Support("tail", 0.0, B22216, wide_613, load_direction="down"),
        Support("drive", 3000.0, B22216, narrow_516(), load_direction="down"),
    )
    assert codes(two_supports(supports=pair).warnings) == ["housing_for_other_bore"]

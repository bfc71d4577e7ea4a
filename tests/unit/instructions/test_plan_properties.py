"""Whatever is not known of a machine: there is a plan, it asks, and it keeps its hold points (rules I2, I5)."""

from copy import deepcopy

from hypothesis import given, settings
from hypothesis import strategies as st

from service import record as records
from tests.unit.instructions.machines import complete_fan, plan_of, unknown_machine, words

ALWAYS = {"isolate", "rings", "cap-torque", "turn-by-hand", "run-in", "bearing-spacing", "shaft-size"}
POSITION_MEMBERS = sorted(set(complete_fan()["shafts"][0]["positions"][0]) - {"name"})
SHAFT_MEMBERS = ["drives", "shaft", "base"]


@st.composite
def partly_known(draw):
    """The complete fan with any of its facts taken away, and roles and loads as anybody may enter them."""
    document = deepcopy(complete_fan())
    shaft = document["shafts"][0]
    for member in draw(st.sets(st.sampled_from(SHAFT_MEMBERS))):
        del shaft[member]
    for position in shaft["positions"]:
        for member in draw(st.sets(st.sampled_from(POSITION_MEMBERS))):
            del position[member]
        role = draw(st.sampled_from([None, "locating", "free"]))
        load = draw(st.sampled_from([None, "up", "rotating", "unknown"]))
        position |= {"role": role} if role else {}
        position |= {"load_direction": load} if load else {}
    return document


@settings(max_examples=60, deadline=None)
@given(
    document=partly_known(),
    names=st.sampled_from([("tail",), ("drive",), ("drive", "tail")]),
    system=st.sampled_from(["inch", "metric"]),
)
def test_a_plan_never_fails_for_what_is_not_known(document, names, system):
    made = plan_of(document, *names, system=system)
    assert {each["id"] for each in made["steps"] if each["hold_point"]} >= ALWAYS
    assert not [said for said in words(made) if "None" in said or "{" in said]
    assert records.decoded(records.encoded(made)) == made
    known_to_lack = {name for name in ("bearing", "housing") for n in names if name not in _of(document, n)}
    assert known_to_lack <= {each["field"] for each in made["missing"]}


def _of(document, name):
    return next(each for each in document["shafts"][0]["positions"] if each["name"] == name)


@given(names=st.lists(st.text(min_size=1, max_size=80), min_size=2, max_size=4, unique=True))
@settings(max_examples=25, deadline=None)
def test_any_name_may_stand_for_a_position(names):
    document = unknown_machine()
    document["shafts"][0]["positions"] = [{"name": name} for name in names]
    made = plan_of(document, names[0])
    assert made["positions"] == [names[0]]
    assert made["steps"][0]["id"] == "isolate"


def test_the_same_facts_make_the_same_plan():
    first, second = plan_of(complete_fan(), "tail"), plan_of(complete_fan(), "tail")
    assert records.sha256(first) == records.sha256(second)

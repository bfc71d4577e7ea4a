"""Whatever is not known of a machine: there is a plan, and it keeps its holds (rules I2, I5)."""

from copy import deepcopy

from hypothesis import given, settings
from hypothesis import strategies as st

from service import record as records
from service.instructions.plan.plan import scene_of
from service.instructions.readiness import questions
from service.render.present import site_text
from tests.unit.instructions.cases import fan
from tests.unit.instructions.machines import job, plan_of, unknown_machine, words

ALWAYS = {1, 2, 3, 4, 6, 7, 8, 9}  # hold 5 falls where the place is given, or the roles are open
POSITION_MEMBERS = sorted(set(fan()["shafts"][0]["positions"][0]) - {"name"})
SHAFT_MEMBERS = sorted(set(fan()["shafts"][0]) - {"name", "positions"})


@st.composite
def partly_known(draw):
    """The fan with any of its facts taken away, and roles, loads and bases as anybody may enter them."""
    document = deepcopy(fan())
    shaft = document["shafts"][0]
    for member in draw(st.sets(st.sampled_from(SHAFT_MEMBERS))):
        del shaft[member]
    for position in shaft["positions"]:
        for member in draw(st.sets(st.sampled_from(POSITION_MEMBERS))):
            del position[member]
        drawn = {
            "role": draw(st.sampled_from([None, "locating", "free"])),
            "load_direction": draw(st.sampled_from([None, "up", "rotating", "unknown"])),
            "base_movement": draw(st.sampled_from([None, "pinned", "may_slide", "unknown"])),
            "locknut_side": draw(st.sampled_from([None, "plus", "minus"])),
        }
        position |= {name: value for name, value in drawn.items() if value is not None}
    return document


@settings(max_examples=80, deadline=None)
@given(
    document=partly_known(),
    names=st.sampled_from([("tail",), ("drive",), ("drive", "tail")]),
    system=st.sampled_from(["inch", "metric"]),
)
def test_a_plan_never_fails_for_what_is_not_known(document, names, system):
    made = plan_of(document, *names, system=system)
    assert {each["hold"] for each in made["steps"] if each["hold"]} >= ALWAYS
    assert not [said for said in words(made) if "None" in said or "{" in said]
    assert records.decoded(records.encoded(made)) == made
    assert all(len(site_text(each["text"]["brief"], system)) <= 60 for each in made["steps"])
    known_to_lack = {name for name in ("bearing", "housing") for n in names if name not in _of(document, n)}
    assert known_to_lack <= {each["field"] for each in made["missing"]}
    asked = questions(scene_of(job(document, *names, system=system)))
    assert {each["id"] for each in asked if each["status"] == "open"} >= {"R14", "R17"}


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
    first, second = plan_of(fan(), "tail"), plan_of(fan(), "tail")
    assert records.sha256(first) == records.sha256(second)

"""What a reader sees of a quantity: the value unrounded, the text rounded and in both unit systems."""

import json
import math
from typing import Any

import orjson
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.record import Kept, decoded, encoded
from service.render.present import present, presented_text, quantity, quantity_text
from service.units import KINDS, N_M_PER_LBF_FT, UNITS, Quantity, to_base, to_nm
from service.words import UNIT_SYSTEMS


@pytest.mark.parametrize(
    ("given_quantity", "metric", "inch"),
    [
        # the worked answers of the wire contract
        (Quantity("clearance", 101_600), "0.102 mm (0.0040 in)", "0.0040 in (0.102 mm)"),
        (Quantity("clearance", 63_500), "0.064 mm (0.0025 in)", "0.0025 in (0.064 mm)"),
        (Quantity("clearance", 95_000), "0.095 mm (0.0037 in)", "0.0037 in (0.095 mm)"),
        (Quantity("blade_in", 63_500), "0.0025 in", "0.0025 in"),
        (Quantity("blade_in", 50_800), "0.002 in", "0.002 in"),
        (Quantity("blade_mm", 100_000), "0.10 mm", "0.10 mm"),
        (Quantity("displacement", 700_000), "0.70 mm (0.0276 in)", "0.0276 in (0.70 mm)"),
        (Quantity("dimension", 80.0), "80.000 mm (3.1496 in)", "3.1496 in (80.000 mm)"),
        (Quantity("dimension", 2.106), "2.106 mm (0.0829 in)", "0.0829 in (2.106 mm)"),
        (Quantity("dimension", 0), "0.000 mm (0.0000 in)", "0.0000 in (0.000 mm)"),
        (Quantity("torque", 110 * N_M_PER_LBF_FT), "150 N.m (110 lbf.ft)", "110 lbf.ft (150 N.m)"),
        (Quantity("torque", 150.0), "150 N.m (110 lbf.ft)", "110 lbf.ft (150 N.m)"),
        (Quantity("torque", 82.5), "82.5 N.m (61 lbf.ft)", "61 lbf.ft (82.5 N.m)"),
        (Quantity("travel_most", 0.5), "0.50 mm (0.018 in)", "0.018 in (0.50 mm)"),
        (Quantity("temperature", 80.0), "80 degC (176 degF)", "176 degF (80 degC)"),
        (Quantity("temperature", -40.0), "-40 degC (-40 degF)", "-40 degF (-40 degC)"),
        (Quantity("temperature_difference", 60.0), "60 K (108 degF)", "108 degF (60 K)"),
        (Quantity("temperature_difference", 14.6), "15 K (26 degF)", "26 degF (15 K)"),  # 26.28 degF
        (Quantity("mass", 2.34), "2.4 kg (5.5 lb)", "5.5 lb (2.4 kg)"),  # 5.16 lb; what is lifted is printed up
        (Quantity("mass", 540.2), "541 kg (1191 lb)", "1191 lb (541 kg)"),  # 1190.9 lb
        (Quantity("time", 26_000.0), "26000 h", "26000 h"),
        # own conventions of the order of work, its checks W21 to W24: as the tool shows it, limits inward
        (Quantity("gap_least", 2.597), "2.6 mm (0.105 in)", "0.105 in (2.6 mm)"),
        (Quantity("gap_most", 9.151), "9.1 mm (0.360 in)", "0.360 in (9.1 mm)"),
        (Quantity("gap", 7.749), "7.7 mm (0.305 in)", "0.305 in (7.7 mm)"),
        (Quantity("spacing", 2982.04), "2982 mm (117 13/32 in)", "117 13/32 in (2982 mm)"),
        (Quantity("spacing", 254.0), "254 mm (10 in)", "10 in (254 mm)"),
        (Quantity("travel_least", 0.70), "0.70 mm (0.028 in)", "0.028 in (0.70 mm)"),
        (Quantity("travel_most", 0.85), "0.85 mm (0.032 in)", "0.032 in (0.85 mm)"),
        (Quantity("lift_least", 80.0), "80 mm (3.2 in)", "3.2 in (80 mm)"),
        (Quantity("lift_most", 29.0), "29 mm (1.1 in)", "1.1 in (29 mm)"),
        (Quantity("torque_computed", 152.5), "155 N.m (110 lbf.ft)", "110 lbf.ft (155 N.m)"),
        (Quantity("nut_turn", 73.8), "75 degrees", "75 degrees"),
        (Quantity("grease", 0.065), "65 g (2.2 oz)", "2.2 oz (65 g)"),
        (Quantity("grease", 0.8258), "850 g (30 oz)", "30 oz (850 g)"),
        (Quantity("temperature_limit", 100.0), "100 degC (210 degF)", "210 degF (100 degC)"),
        (Quantity("temperature_aim", 81.5), "82 degC (180 degF)", "180 degF (82 degC)"),
        (Quantity("force", 123_456.0), "123.5 kN (27750 lbf)", "27750 lbf (123.5 kN)"),
    ],
)
def test_texts_are_rounded_and_print_both_systems(given_quantity: Quantity, metric: str, inch: str) -> None:
    assert quantity_text(given_quantity, "metric") == metric
    assert quantity_text(given_quantity, "inch") == inch


@given(st.sampled_from(sorted(KINDS)), st.integers(-(10**9), 10**9), st.sampled_from(UNIT_SYSTEMS))
def test_the_value_reads_back_as_the_quantity(kind: str, value: int, system: Any) -> None:
    shown = quantity(Quantity(kind, value), system)
    unit = UNITS[KINDS[kind].dimension][shown["unit"]]
    if KINDS[kind].held_in == "nm":
        assert to_nm(shown["value"], unit) == value
    else:
        assert to_base(shown["value"], unit) == pytest.approx(value, rel=1e-12, abs=1e-9)


@given(st.integers(0, 10**9))
def test_a_printed_clearance_is_the_nearest_one(value_nm: int) -> None:
    printed_mm, printed_in = (quantity_text(Quantity("clearance", value_nm), s).split(" ")[0] for s in UNIT_SYSTEMS)
    assert abs(float(printed_mm) * 1e6 - value_nm) <= 500.001
    assert abs(float(printed_in) * 25.4e6 - value_nm) <= 1270.001


def test_a_tree_is_presented_leaf_by_leaf() -> None:
    tree = {"a": [Quantity("clearance", 50_800), None, True, 3], "why": ("leave ", Quantity("clearance", 50_800), ".")}
    shown = present(tree, "inch")
    assert shown["a"][0] == {"value": 0.002, "unit": "in", "text": "0.0020 in (0.051 mm)"}
    assert shown["a"][1:] == [None, True, 3]
    assert shown["why"] == "leave 0.0020 in (0.051 mm)."


@pytest.mark.parametrize("number", [math.nan, math.inf])
def test_a_number_that_is_not_finite_is_never_answered(number: float) -> None:
    for tree in ({"x": number}, [number], {"x": Quantity("torque", number)}):
        with pytest.raises(ValueError, match="not finite"):
            present(tree, "metric")


WORDS = st.text() | st.sampled_from(
    (
        '{"words":["a"]}',
        '"{"',
        '{"quantity":"time","h":1}',
        "\\",
        '\\"',
        "{",
        '"words":[',
        "]}",
        '{"nm":1,"quantity":"clearance"}',
    )
)
NUMBERS = st.integers(-(2**60), 2**60) | st.floats(-1e300, 1e300)
LEAVES = st.none() | st.booleans() | NUMBERS | WORDS
QUANTITIES = st.builds(Quantity, st.sampled_from(sorted(KINDS)), st.integers(-(10**12), 10**12) | st.floats(-1e9, 1e9))
TEXTS = st.lists(WORDS | QUANTITIES, max_size=5).map(tuple)
RECORDS = st.recursive(
    LEAVES | QUANTITIES | TEXTS,
    lambda below: st.lists(below, max_size=4) | st.dictionaries(WORDS, below, max_size=4),
    max_leaves=20,
)


@given(RECORDS, st.sampled_from(UNIT_SYSTEMS))
def test_a_stored_record_is_presented_as_its_tree_is(record: Any, system: Any) -> None:
    """Whatever stands in its strings; an object that has the form of a quantity or text is one, as when it is read."""
    text = encoded(record)
    assert json.loads(presented_text(text, system)) == json.loads(orjson.dumps(present(decoded(text), system)))


def test_a_kept_record_stands_in_an_answer_with_the_members_beside_it() -> None:
    record = {"a": [Quantity("clearance", 50_800)], "why": ("leave ", Quantity("blade_in", 50_800), ".")}
    beside = {"id": 7, "limit": Quantity("time", 8.0)}
    answer = {"order": "WO-1", "instructions": Kept(beside, encoded(record))}
    shown = json.loads(orjson.dumps(present(answer, "inch")))
    assert shown == present({"order": "WO-1", "instructions": beside | record}, "inch")

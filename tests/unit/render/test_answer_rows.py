"""The rows of an answer as a flat table; what is expected was written by hand."""

from service.render.answer_rows import answer_rows

HOURS = {"value": 1200.5, "unit": "h", "text": "1200 h"}


def test_members_of_members_have_dots_and_units_end_the_names() -> None:
    answer = {
        "items": [
            {"group": "A", "b10": {"estimate": HOURS, "lower": None}, "warnings": [{"code": "few"}, {"code": "late"}]},
            {"group": "B", "b10": None, "warnings": [], "bins": [{"from": 1, "to": 2}]},
        ],
        "assumptions": ["one"],
    }
    columns, rows = answer_rows(answer)
    assert columns == ["group", "b10.estimate_h", "b10.lower", "warnings", "bins"]
    assert rows == [["A", 1200.5, None, "few|late", None], ["B", None, None, "", '[{"from":1,"to":2}]']]


def test_an_answer_without_items_is_one_row() -> None:
    torque = {"value": 3.0, "unit": "N.m", "text": "3 N.m"}
    answer = {"verdict": "worse", "named": ["a", "b"], "torque": torque, "sources": [{"id": "x"}], "assumptions": []}
    assert answer_rows(answer) == (["verdict", "named", "torque_N_m"], [["worse", "a|b", 3.0]])


def test_steps_are_rows_and_no_rows_have_no_columns() -> None:
    steps = [{"age": HOURS, "number": 0.5}, {"age": HOURS, "number": 1.0}]
    assert answer_rows({"group": "g", "mean_cumulative_number": steps})[1] == [[1200.5, 0.5], [1200.5, 1.0]]
    assert answer_rows({"items": []}) == ([], [])

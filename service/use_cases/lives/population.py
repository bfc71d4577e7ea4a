"""The stays of a question as verdicts take them: what counts, within which classes, and what was left out."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np

from service.errors import CannotEvaluate, Text
from service.history.observations import REASONS
from service.reliability.life_order import OrderTest, life_order, planned_test
from service.reliability.lives import Bools, Floats, Ints
from service.reliability.observed import CENSORED, FAILED, IN_DOUBT, NOT_RECORDED, STILL_THERE, Counted, is_any
from service.reliability.policy import joined, parts
from service.reliability.stay_table import StayTable, stay_table
from service.use_cases.lives.data import History, duty_of, grouped, on_record
from service.use_cases.lives.keys import classes_of
from service.words import BASES

CHOSEN_BY_CAUSE: Final = (
    "A cause is told at removal, so bearings that run have none yet: lives chosen by a cause are shorter than those of "
    "all bearings, and say nothing of what was fitted."
)

TOLD_MORE: Final = 0.2  # of the bearings; and so many errors of the difference
SURELY: Final = 3.0


@dataclass(frozen=True, slots=True)
class Population:
    """Stays that take part, n of them.

    ``row``: their places in the history that was read, ``whole``. ``by_plan``: ended, and not failed by any damage.
    ``data`` is their history, ``table`` its columns for verdicts, ``kind`` the class of every stay that was read.
    """

    data: History
    row: Ints
    counted: Counted
    table: StayTable
    by_plan: Bools
    class_by: tuple[str, ...]
    whole: History
    kind: Ints

    @property
    def assets(self) -> list[str]:
        """Return what the machines are called, by their numbers in the table."""
        return sorted({place.asset for place in self.data.places})

    @property
    def failed(self) -> Bools:
        """Return which stays failed, where no failure is shared out, shape (n,)."""
        return np.asarray(self.table.failed > 0)

    @property
    def running(self) -> Bools:
        """Return which bearings run, or were lost from sight, shape (n,)."""
        return np.asarray(~self.table.ended)

    @property
    def carried_h(self) -> Floats:
        """Return the age of each bearing when it was fitted, shape (n,), [h]."""
        return np.nan_to_num(self.data.columns.numbers["carried_h"])

    @property
    def duty(self) -> Floats:
        """Return the share of calendar time that the position of each stay runs, shape (n,), [-]."""
        return np.array([duty_of(place) for place in self.data.places])[self.table.position]

    def of_rows(self, keep: Bools) -> "Population":
        """Return some of the stays that take part; what was counted stays that of all."""
        data, row, table = self.data.of_rows(np.flatnonzero(keep)), self.row[keep], self.table.of_rows(keep)
        return replace(self, data=data, row=row, table=table, by_plan=self.by_plan[keep])

    def chosen(self, passed: Bools | None) -> "Population":
        """Return those of the stays that pass a filter, told by all that were read; None: all of them do.

        Raises
        ------
        CannotEvaluate
            ``no_lives``
        """
        if passed is None:
            return self
        keep = passed[self.row]
        if not keep.any():
            raise CannotEvaluate("no stay is left to answer from", code="no_lives")
        counted, table = self.counted.of_rows(np.flatnonzero(passed)), self.table.chosen(keep)
        return replace(self.of_rows(keep), counted=counted, table=table)

    def left_out_test(self) -> OrderTest | None:
        """Return whether lives that are left out came more, or less, often later in their positions.

        None where there are hardly any. Those of which nothing is known but that they ended are meant.
        """
        names, data = self.counted.names, self.whole
        doubtful = np.array([name in (*IN_DOUBT, NOT_RECORDED) for name in names], dtype=np.bool_)[self.counted.status]
        aged = (data.ages.age_h > 0) & (data.ages.entry_h < data.ages.age_h)
        rows = np.flatnonzero((doubtful & aged) | (self.counted.status < 2))
        if np.count_nonzero(doubtful[rows]) == 0:
            return None
        of_all = data.of_rows(rows)
        table = stay_table(
            of_all.ages.age_h,
            np.zeros(len(rows)),
            position=of_all.position,
            begin_h=of_all.columns.numbers["begin_h"],
            end_h=of_all.end_h,
            ended=~is_any(of_all.columns, "end_type", STILL_THERE),
            entry_h=of_all.ages.entry_h,
            of_class=self.kind[rows],
        )
        return planned_test(life_order(table), doubtful[rows])

    def counts(self) -> dict[str, Any]:
        """Return the wire members of what the answer stands on."""
        failed = float(self.table.failed.sum())
        return {
            "stays": len(self.counted.status),
            FAILED: round(failed),
            CENSORED: round(self.table.rows - failed),
            "excluded": excluded_records(self.counted.excluded()),
        }

    def assumptions(self, query: Mapping[str, Any]) -> list[Text]:
        """Return the sentences that say how stays were read."""
        basis, ages = self.data.ages.basis, self.data.ages
        bases: dict[str, int] = {name: int(np.count_nonzero(basis == n)) for n, name in enumerate(BASES)}
        late, unrecorded = int(np.count_nonzero(ages.entry_h > 0)), int(np.count_nonzero(self.counted.unrecorded))
        said = self.data.assumptions(bases, late, unrecorded, count=query["count"], damage=query.get("damage"))
        return [*said, *of_ended(query)]


def population(
    data: History, query: Mapping[str, Any], class_by: Sequence[str] = (), *, share_out: bool = True
) -> Population:
    """Return the stays that take part.

    Parameters
    ----------
    class_by : sequence of str
        What parts the classes besides the designation.
    share_out : bool
        Failures without recorded damage are shared out when one mode is asked about; else they are left out.

    Raises
    ------
    CannotEvaluate
        ``no_lives``
    """
    classes = classes_of(class_by)
    of_class = grouped(data, classes).number
    found = data.counted(query["count"], query.get("damage"), of_class if share_out else None)
    row = found.row
    if len(row) == 0:
        raise CannotEvaluate("no stay is left to answer from", code="no_lives")
    part = data.of_rows(row)
    of_any = data.counted(query["count"], None).share[row] > 0
    ended = ~is_any(part.columns, "end_type", STILL_THERE)
    machine = {tag: n for n, tag in enumerate(sorted({place.asset for place in data.places}))}
    asset = np.array([machine[place.asset] for place in data.places], dtype=np.int64)
    table = stay_table(
        part.ages.age_h,
        found.share[row],
        position=part.position,
        begin_h=part.columns.numbers["begin_h"],
        end_h=part.end_h,
        ended=ended,
        entry_h=part.ages.entry_h,
        of_class=of_class[row],
        asset=asset[part.position],
    )
    return Population(part, row, found, table, np.asarray(ended & ~of_any), classes, data, of_class)


def of_ended(query: Mapping[str, Any]) -> list[Text]:
    """Return what to say where stays are chosen, or grouped, by what only a removal tells."""
    return [CHOSEN_BY_CAUSE] if query.get("cause") is not None or "cause" in query.get("group_by", ()) else []


def excluded_records(numbers: Mapping[str, int]) -> list[dict[str, Any]]:
    """Return the wire members of what was left out."""
    return [{"reason": one, "detail": REASONS[one], "count": numbers[one]} for one in REASONS if numbers.get(one)]


def told_at_removal(data: History, keys: Sequence[str]) -> list[Text]:
    """Return the sentences that name what is on record more often of bearings that came out than of those that run."""
    ended = ~is_any(data.columns, "end_type", STILL_THERE)
    out, still = int(np.count_nonzero(ended)), int(np.count_nonzero(~ended))
    said: list[Text] = []
    for key in keys if out and still else ():
        known = on_record(data, [key])
        of_out, of_still = float(known[ended].mean()), float(known[~ended].mean())
        share = float(known.mean())
        error = (share * (1 - share) * (1 / out + 1 / still)) ** 0.5
        if of_out - of_still > max(TOLD_MORE, SURELY * error):
            said.append(
                f"{key} is on record of {of_out:.0%} of the bearings that came out and of {of_still:.0%} of those that "
                "run: lives by it may be short for that alone."
            )
    return said


def said_of_mode(node: Any, query: Mapping[str, Any]) -> Any:
    """Return an answer whose verdicts name the mode of damage that is asked about, where one is.

    Another damage ends a life and does not count: "last less long" would be said of what was only recorded otherwise.
    """
    mode = query.get("damage")
    if mode is None:
        return node
    if isinstance(node, list):
        return [said_of_mode(one, query) for one in node]
    if not isinstance(node, dict):
        return node
    found = {name: said_of_mode(value, query) for name, value in node.items()}
    if "verdict" in node and "detail" in node:
        found["detail"] = joined([f"Of failures by {mode}, as recorded: ", *parts(node["detail"])])
    return found

"""The cap torque as a book prints it: a site's chart, else the built-in table with its confidence (rule B1).

A cap torque is never computed from the bolt. Where publications disagree both values are named and none is chosen.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import reduce

from service import units
from service.bolting.messages import SAYS, message
from service.errors import Text
from service.findings import Missing, Source, Warned
from service.reference.bolts import Thread, thread
from service.reference.housing_tables import CapBolts, PrintedTorque
from service.reference.housings import Housing
from service.sentences import Fact


@dataclass(frozen=True, slots=True)
class Bolt:
    """The cap bolts: thread, grade and count as they are known."""

    thread: str
    grade: str | None = None
    count: int | None = None


@dataclass(frozen=True, slots=True)
class ChartedTorque:
    """One row of a site's chart of cap torques, [N m]; the housing by name, or by size, dimensions and design."""

    torque_n_m: float
    source: Source
    housing_name: str | None = None
    size: str | None = None
    dimensions: str | None = None
    seat_design: str | None = None
    bolt: Bolt | None = None

    def holds_for(self, housing: Housing) -> bool:
        """Tell whether the row is for a housing; a row with a seat design is for that design alone."""
        if self.housing_name is not None:
            return self.housing_name == housing.name
        same = (self.size, self.dimensions) == (housing.size, housing.dimensions) and self.size is not None
        return same and self.seat_design in (None, housing.seat_design)


@dataclass(frozen=True, slots=True)
class BookTorque:
    """The torque of a book, [N m], its confidence, the bolt it belongs to, and what must be asked about it."""

    torque_n_m: float | None
    confidence: str
    bolt: Bolt | None
    missing: tuple[Missing, ...] = ()
    warnings: tuple[Warned, ...] = ()
    sources: tuple[Source, ...] = ()


def book_torque(housing: Housing, fitted: Bolt | None, charts: Sequence[ChartedTorque]) -> BookTorque:
    """Return the cap torque that a book prints for a housing, with what must be confirmed."""
    own = [row for row in charts if row.holds_for(housing)]
    if own:
        row = own[0]
        warnings = (*_differs(row.bolt, fitted), *_competing(row, own[1:]))
        return BookTorque(row.torque_n_m, "site_chart", fitted or row.bolt, (), warnings, (row.source,))
    bolts = housing.cap_bolts
    if bolts is None:
        return BookTorque(None, "none", fitted, _not_in_table(housing), (), ())
    return _of_table(housing, bolts, fitted)


def _competing(used: ChartedTorque, others: Sequence[ChartedTorque]) -> tuple[Warned, ...]:
    """Return a warning for each other book of the site that prints another torque for the housing."""
    return tuple(
        SAYS.warned(
            "charts_differ",
            used=used.source.title,
            used_torque=units.torque(used.torque_n_m),
            other=other.source.title,
            other_torque=units.torque(other.torque_n_m),
        )
        for other in others
        if other.source != used.source and other.torque_n_m != used.torque_n_m
    )


def _not_in_table(housing: Housing) -> tuple[Missing, ...]:
    undecided = housing.missing()
    if undecided:
        return undecided
    return (SAYS.missing("torque_not_in_table", "torque"),)


def _of_table(housing: Housing, bolts: CapBolts, fitted: Bolt | None) -> BookTorque:
    """Return the torque that the table prints for the bolt fitted, or for its own where publications agree on it."""
    name = thread(fitted.thread).name if fitted is not None else bolts.thread
    of_table = None if bolts.thread is None else Bolt(bolts.thread, bolts.grade, bolts.count)
    warnings = _differs(of_table, fitted)
    compared = fitted or of_table
    sources = housing.sources
    printed = _chosen(bolts, name)
    if printed is None or printed.torque_n_m is None:
        return BookTorque(None, "none", compared, (_conflict(housing, bolts, name),), warnings, sources)
    if bolts.status == "agreed" or printed.publications > 1:
        return BookTorque(printed.torque_n_m, "agreed", compared, (), warnings, sources)
    confirm = _confirm(printed.torque_n_m, bolts, of_table)
    return BookTorque(printed.torque_n_m, "single_publication", compared, (confirm,), warnings, sources)


def _chosen(bolts: CapBolts, name: str | None) -> PrintedTorque | None:
    """Return the one torque printed for the bolt; the table's own where the bolt fitted is another (cross-checked)."""
    if bolts.status in ("doubtful", "not_published", "torque_conflict"):
        return None
    if bolts.status == "bolt_conflict":
        printed = [one for one in bolts.printed if one.thread == name and one.torque_n_m is not None]
        return printed[0] if len(printed) == 1 else None
    return bolts.printed[0]


def _printed_words(bolts: CapBolts) -> Text | None:
    """Return every torque that is printed, with its bolt."""
    said: Text | None = None
    for one in bolts.printed:
        if one.torque_n_m is None:
            printed = message("printed.no_torque", thread=one.thread)
        else:
            printed = message("printed.torque", torque=units.torque(one.torque_n_m), thread=one.thread)
        said = printed if said is None else message("printed.more", first=said, next=printed)
    return said


def _conflict(housing: Housing, bolts: CapBolts, name: str | None) -> Missing:
    if bolts.status == "not_published":
        return SAYS.missing("torque_not_published", "torque")
    facts: dict[str, Fact] = {"size": housing.size, "printed": _printed_words(bolts)}
    if bolts.status == "doubtful":
        return SAYS.missing("torque_doubtful", "torque", **facts)
    if bolts.status == "bolt_conflict" and name is None:
        return SAYS.missing("thread_conflict", "bolt/thread", **facts)
    return SAYS.missing("torque_conflict", "torque", **facts)


def _confirm(torque_n_m: float, bolts: CapBolts, of_table: Bolt | None) -> Missing:
    if bolts.status == "bolt_conflict":
        described = message("bolts.differ")
    elif of_table is None:
        described = message("bolts.unnamed")
    else:
        members = {"count": of_table.count, "thread": of_table.thread, "grade": of_table.grade}
        known = "_".join(name for name, value in members.items() if value is not None)
        described = message(f"bolts.{known}", **members)
    return SAYS.missing("torque_confirm", "torque", torque=units.torque(torque_n_m), bolts=described)


def _differs(of_book: Bolt | None, fitted: Bolt | None) -> tuple[Warned, ...]:
    """Return a warning where the bolt fitted is not the one the book's torque belongs to."""
    if of_book is None or fitted is None:
        return ()
    other = []
    named: Thread = thread(of_book.thread)
    if named != thread(fitted.thread):
        other.append(message("differs.words", book=of_book.thread, fitted=fitted.thread))
    if of_book.grade is not None and fitted.grade is not None and of_book.grade.upper() != fitted.grade.upper():
        other.append(message("differs.words", book=of_book.grade, fitted=fitted.grade))
    if of_book.count is not None and fitted.count is not None and of_book.count != fitted.count:
        other.append(message("differs.count", book=of_book.count, fitted=fitted.count))
    if not other:
        return ()
    said = reduce(lambda first, following: message("differs.more", first=first, next=following), other)
    return (SAYS.warned("bolt_differs_from_book", differences=said),)

"""Cap bolts: the torque of the book, what it does to the bolt, stages, order, and the wrench (rules B1 to B5)."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from service import units
from service.bolting.book import Bolt, BookTorque, ChartedTorque, book_torque
from service.bolting.lubrication import Lubrication, lubrication_of
from service.bolting.messages import SAYS
from service.bolting.tightening import preload_from_torque
from service.bolting.wrench import Wrench, WrenchAnswer, wrench_answer
from service.errors import CannotEvaluate
from service.findings import Blocked, Missing, Source, Warned
from service.reference.bolts import BoltGrade, Thread, bolt_grade, thread
from service.reference.housings import Housing
from service.reference.tables import provenance

__all__ = ["Bolt", "CapBoltTorque", "ChartedTorque", "Lubrication", "Wrench", "cap_bolt_torque"]

WARNING_SHARE: Final = 0.85
"""Share of proof load above which a torque is warned about, [-]."""
SAME_TORQUE: Final = 0.1
"""Relative difference up to which two torques are the same for a warning, our own convention, [-]."""
STAGE_PERCENTS: Final = (50, 100, 100)
"""Stages after hand-tight: our own convention (B3), no bearing handbook prints stages for caps."""
ORDERS: Final[Mapping[int, tuple[str, ...]]] = {
    2: ("1", "2"),
    4: ("1", "4", "2", "3"),
}
"""Bolts 1 and 2 stand on one side of the bore, 3 and 4 on the other, 3 opposite 1; of two, one stands on each side."""


@dataclass(frozen=True, slots=True)
class Check:
    """What a torque does to the bolt: preload [N] and share of proof load [-], nominal and band."""

    preload_n: tuple[float, float, float]
    share: tuple[float, float, float] | None
    state: str
    system: str
    nut_factor: tuple[float, float, float]

    def preload_record(self) -> dict[str, Any]:
        """Return the wire member ``preload``."""
        nominal, least, most = self.preload_n
        return {"nominal": units.force(nominal), "min": units.force(least), "max": units.force(most)}

    def nut_factor_record(self) -> dict[str, Any]:
        """Return the nut factor used with its band."""
        nominal, low, high = self.nut_factor
        return {"state": self.state, "nominal": nominal, "min": low, "max": high}


@dataclass(frozen=True, slots=True)
class CapBoltTorque:
    """The answer about the cap bolts of one housing; torque [N m]."""

    torque_n_m: float | None
    confidence: str
    bolt: Bolt | None
    check: Check | None
    wrench: WrenchAnswer | None
    missing: tuple[Missing, ...]
    blocked: tuple[Blocked, ...]
    warnings: tuple[Warned, ...]
    sources: tuple[Source, ...]

    @property
    def stages(self) -> tuple[tuple[int, float], ...]:
        """Return the stages after hand-tight: percent [-] and torque [N m]."""
        if self.torque_n_m is None:
            return ()
        return tuple((percent, self.torque_n_m * percent / 100) for percent in STAGE_PERCENTS)

    @property
    def sequence(self) -> tuple[str, ...]:
        """Return the order of the bolts; empty where their count is not known or has no stated order."""
        return ORDERS.get(self.bolt.count or 0, ()) if self.bolt is not None else ()

    def record(self) -> dict[str, Any]:
        """Return the answer of /v1/cap-bolt-torques, quantities unit-neutral."""
        check = self.check
        share = check.share if check is not None else None
        return {
            "torque": None if self.torque_n_m is None else units.torque(self.torque_n_m),
            "confidence": self.confidence,
            "bolt": None if self.bolt is None else _bolt_record(self.bolt),
            "preload": None if check is None else check.preload_record(),
            "nut_factor": None if check is None else check.nut_factor_record(),
            "share_of_proof": None if share is None else share[0],
            "share_of_proof_band": None if share is None else {"min": share[1], "max": share[2]},
            "stages": [{"percent": percent, "torque": units.torque(torque)} for percent, torque in self.stages],
            "sequence": list(self.sequence),
            "wrench": None if self.wrench is None else self.wrench.record(),
            "missing": [one.record() for one in self.missing],
            "blocked": [one.record() for one in self.blocked],
            "warnings": [one.record() for one in self.warnings],
            "sources": [one.record() for one in self.sources],
        }


def _bolt_record(bolt: Bolt) -> dict[str, Any]:
    return {"thread": bolt.thread, "grade": bolt.grade, "count": bolt.count}


def cap_bolt_torque(
    *,
    housing: Housing | None = None,
    torque_n_m: float | None = None,
    bolt: Bolt | None = None,
    lubrication: str | Mapping[str, Any] | Lubrication | None = "unknown",
    wrench: Wrench | None = None,
    charts: Sequence[ChartedTorque] = (),
) -> CapBoltTorque:
    """Return the cap torque of a housing from a book, or check a given one; never computed from the bolt (B1).

    Parameters
    ----------
    torque_n_m : float or None
        A torque to be checked, [N m]; it takes the place of the book's
    bolt : Bolt or None
        The bolts fitted; the book's own where None
    lubrication : str, dict or Lubrication
        "dry", "oiled", "anti_seize", "unknown", {nut_factor} or {thread_friction, head_friction}
    charts : sequence of ChartedTorque
        The site's own rows, which come before the built-in table

    Raises
    ------
    CannotEvaluate
        Unknown thread, grade or lubrication; a torque that is not positive; an impossible wrench.
    """
    if torque_n_m is not None and not torque_n_m > 0:
        raise CannotEvaluate("a torque is positive", code="torque_not_positive", field="torque")
    state = lubrication_of(lubrication)
    fitted = None if bolt is None else Bolt(thread(bolt.thread).name, bolt.grade, bolt.count)
    book = _book(housing, torque_n_m, fitted, charts)
    check, grade, asked = _check(book, state)
    first_n_m = None if book.torque_n_m is None else book.torque_n_m * STAGE_PERCENTS[0] / 100
    answer = None if wrench is None else wrench_answer(wrench, torque_n_m=book.torque_n_m, first_torque_n_m=first_n_m)
    blocked, warnings = _judged(book, check, grade, state)
    return CapBoltTorque(
        torque_n_m=book.torque_n_m,
        confidence=book.confidence,
        bolt=book.bolt,
        check=check,
        wrench=answer,
        missing=(*book.missing, *asked, *(answer.missing if answer is not None else ())),
        blocked=blocked,
        warnings=(*book.warnings, *warnings, *(answer.warnings if answer is not None else ())),
        sources=(*book.sources, *_check_sources(check)),
    )


def _book(
    housing: Housing | None, torque_n_m: float | None, fitted: Bolt | None, charts: Sequence[ChartedTorque]
) -> BookTorque:
    """Return the given torque with the bolt it goes to, else the book's."""
    if torque_n_m is not None:
        given = Source("torque-as-given", "cap torque as given in the request", "given")
        of_table = housing.cap_bolts if housing is not None else None
        known = fitted
        if known is None and of_table is not None and of_table.thread is not None:
            known = Bolt(of_table.thread, of_table.grade, of_table.count)
        return BookTorque(
            torque_n_m, "given", known, (), _other_than_book(housing, torque_n_m, known, charts), (given,)
        )
    if housing is None:
        return BookTorque(None, "none", fitted, (SAYS.missing("housing"),))
    return book_torque(housing, fitted, charts)


def _other_than_book(
    housing: Housing | None, torque_n_m: float, fitted: Bolt | None, charts: Sequence[ChartedTorque]
) -> tuple[Warned, ...]:
    """Return a warning where a given torque is more than 10 % from the one a book prints for the housing."""
    printed = None if housing is None else book_torque(housing, fitted, charts)
    if printed is None or printed.torque_n_m is None:
        return ()
    if abs(torque_n_m / printed.torque_n_m - 1) <= SAME_TORQUE:
        return printed.warnings
    given, on_file = units.torque(torque_n_m), units.torque(printed.torque_n_m)
    return (*printed.warnings, SAYS.warned("differs_from_book", torque=given, printed=on_file))


def _check(book: BookTorque, state: Lubrication) -> tuple[Check | None, BoltGrade | None, tuple[Missing, ...]]:
    """Return the cross-check of the torque (B2), the grade it is held against, and what it asks for."""
    asked: list[Missing] = []
    if book.bolt is None:
        if book.torque_n_m is not None:
            asked.append(SAYS.missing("bolt"))
        return None, None, tuple(asked)
    of = thread(book.bolt.thread)
    grade = None if book.bolt.grade is None else bolt_grade(book.bolt.grade, of)
    if grade is None:
        asked.append(SAYS.missing("grade", "bolt/grade"))
    if book.bolt.count is None:
        asked.append(SAYS.missing("count", "bolt/count"))
    if not state.known:
        asked.append(SAYS.missing("lubrication"))
    if book.torque_n_m is None:
        return None, grade, tuple(asked)
    return _checked(book.torque_n_m, of, grade, state), grade, tuple(asked)


def _checked(torque_n_m: float, of: Thread, grade: BoltGrade | None, state: Lubrication) -> Check:
    band = state.band(of)
    factors = (band.nominal, band.high, band.low)  # the highest factor gives the least preload
    nominal, least, most = (
        preload_from_torque(torque_n_m=torque_n_m, diameter_mm=of.diameter_mm, nut_factor=factor) for factor in factors
    )
    share = None
    if grade is not None:
        proof_n = grade.proof_mpa * of.stress_area_mm2
        share = (nominal / proof_n, least / proof_n, most / proof_n)
    return Check((nominal, least, most), share, band.state, of.system, (band.nominal, band.low, band.high))


def _judged(
    book: BookTorque, check: Check | None, grade: BoltGrade | None, state: Lubrication
) -> tuple[tuple[Blocked, ...], tuple[Warned, ...]]:
    """Return whether the torque asks too much of the bolt; a book's is never refused for an assumed state (B2)."""
    if check is None or check.share is None or grade is None or book.bolt is None or book.torque_n_m is None:
        return (), ()
    nominal, least, most = check.share
    in_any_state = book.confidence == "given" and least > 1
    if (state.known and nominal > 1) or in_any_state:
        return (_over_proof(book.torque_n_m, f"{book.bolt.thread} {grade.name}", nominal, check),), ()
    if nominal > WARNING_SHARE:
        named, torque = f"{book.bolt.thread} {grade.name}", units.torque(book.torque_n_m)
        return (), (SAYS.warned("near_proof", torque=torque, percent=_percent(nominal), bolt=named),)
    if not state.known and most > 1:
        return (), (SAYS.warned("may_exceed_proof", percent=_percent(most)),)
    return (), ()


def _percent(share: float) -> str:
    return f"{share * 100:.0f}"


def _over_proof(torque_n_m: float, bolt: str, share: float, check: Check) -> Blocked:
    facts = {
        "share_of_proof": share,
        "preload": units.force(check.preload_n[0]),
        "nut_factor": check.nut_factor[0],
        "bolt": bolt,
    }
    torque = units.torque(torque_n_m)
    return SAYS.blocked("over_proof", facts=facts, torque=torque, bolt=bolt, percent=_percent(share))


FRICTION_SOURCE: Final = Source("vdi-2230-1", "VDI 2230-1, tightening torque from both frictions", "standard")


def _check_sources(check: Check | None) -> tuple[Source, ...]:
    if check is None:
        return ()
    found = [provenance("threads_metric" if check.system == "metric" else "threads_unified").source]
    if check.state == "frictions":
        found.append(FRICTION_SOURCE)
    elif check.state != "nut_factor":
        found.append(provenance("nut_factors").source)
    if check.share is not None:
        found.append(provenance("bolt_grades").source)
    return tuple(found)

"""A bearing from its designation, or from its dimensions (rule C1).

Read are the number (ISO/DIN dimension series and bore code), K and K30 for the taper, and the clearance class.
Everything else in a designation belongs to its maker: it is kept as it stands and never interpreted.
"""

import math
import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from service import units
from service.characters import TooManyMarks, composed
from service.errors import CannotEvaluate, OutOfTable
from service.findings import Warned
from service.mounting.messages import SAYS
from service.reference.bearings import TYPES, Bearing, BoundaryDimensions, boundary_dimensions, sizes
from service.words import CLEARANCE_CLASSES, TAPERS

LONGEST: Final = 60
LARGEST_BORE_MM: Final = 2000.0

_NUMBER: Final = re.compile(r"([0-9]{3}/[0-9]{2,4}|[0-9]+)(?![0-9])")
_SEPARATORS: Final = re.compile("[\\s/.,;:_()\u2010-\u2015-]+")
_CLASS: Final = re.compile(r"(?<!P[0-9])C([0-9N])(?![0-9])")
_COMBINED: Final = re.compile(r"P([2456])([1-5])(?![0-9])")
_TAPER: Final = re.compile(r"([A-JL-Z0-9]{0,4})K(30)?(?![0-9])([A-JL-Z0-9]{0,6})")
_SEAL: Final = re.compile(r"(?:^|[0-9])(?:[CLRV]S|Z)|^2[A-Z]")


@dataclass(frozen=True, slots=True)
class _Marks:
    """What stands behind the number: class, taper and the rest."""

    clearance_class: str | None
    combined: str | None
    taper: str | None
    before_taper: str
    unread: tuple[str, ...]


@lru_cache(maxsize=4096)
def bearing_from_designation(designation: str) -> Bearing:
    """Return the bearing that a designation names.

    Parameters
    ----------
    designation : str
        ``22216 K/C3``, ``22216-K-C3``, ``22216KC3``, ``22216 CCK/C3W33``, ``230/500 K`` ...

    Raises
    ------
    CannotEvaluate
        ``unknown_designation``: the message says what was understood and what not.

    Source
    ------
    ISO 15 for the dimensions; K, K30 and C2 to C5 as in DIN 623-1 and ISO 5753-1 (letters from memory).
    """
    try:
        text = "" if len(designation) > 10 * LONGEST else " ".join(composed(designation).upper().split())
    except TooManyMarks as error:
        raise _unknown(str(error)) from None
    if not text or len(text) > LONGEST or not text.isprintable():
        raise _unknown(f"a designation has 1 to {LONGEST} printable characters, such as 22216 K/C3")
    found = _NUMBER.match(text)
    if found is None:
        raise _unknown(
            f"{text}: no bearing number at its beginning; expected a number such as 22216 or 230/500, "
            "letters before it are not read"
        )
    size = _size(text, found.group(1))
    marks = _marks(text, size.number, text[found.end() :])
    return _bearing(size, marks)


def bearing_from_dimensions(
    *,
    type: str,
    bore_mm: float,
    outside_diameter_mm: float | None = None,
    width_mm: float | None = None,
    taper: str,
    clearance_class: str,
) -> Bearing:
    """Return the bearing that its dimensions describe.

    Parameters
    ----------
    type : str
        ``spherical_roller`` or ``self_aligning_ball``
    bore_mm, outside_diameter_mm, width_mm : float
        Bore d, outside diameter D and width B, [mm]
    taper : str
        ``1:12``, ``1:30`` or ``cylindrical``
    clearance_class : str
        ``C2``, ``CN``, ``C3``, ``C4`` or ``C5``

    Raises
    ------
    CannotEvaluate
        A word is unknown or the dimensions contradict each other.
    """
    words = (("type", type, TYPES), ("taper", taper, TAPERS), ("clearance_class", clearance_class, CLEARANCE_CLASSES))
    for field, word, known in words:
        if word not in known:
            raise CannotEvaluate(f"{word!r} is not one of {', '.join(known)}", code=f"unknown_{field}", field=field)
    if not (math.isfinite(bore_mm) and 0 < bore_mm <= LARGEST_BORE_MM):
        raise OutOfTable(("bore ", units.dimension(bore_mm), " is outside every table"), field="bore")
    _refuse_impossible(bore_mm, outside_diameter_mm, width_mm)
    return Bearing(
        designation=None,
        type=type,
        series=None,
        bore_mm=bore_mm,
        outside_diameter_mm=outside_diameter_mm,
        width_mm=width_mm,
        taper=taper,
        clearance_class=clearance_class,
        clearance_class_assumed=False,
        class_to_confirm=False,
        unread_suffixes=(),
        warnings=(),
    )


def _refuse_impossible(bore_mm: float, outside_diameter_mm: float | None, width_mm: float | None) -> None:
    if outside_diameter_mm is not None and not bore_mm < outside_diameter_mm < math.inf:
        raise CannotEvaluate(
            ("the outside diameter must be larger than the bore of ", units.dimension(bore_mm)),
            code="impossible_dimensions",
            field="outside_diameter",
        )
    if width_mm is not None and not 0 < width_mm < math.inf:
        raise CannotEvaluate("the width must be larger than zero", code="impossible_dimensions", field="width")


def _unknown(detail: str) -> CannotEvaluate:
    return CannotEvaluate(detail, code="unknown_designation", field="designation")


def _size(text: str, number: str) -> BoundaryDimensions:
    size = boundary_dimensions(number)
    if size is None:
        series = {row.series for row in sizes().values()}
        start = number.split("/")[0] if "/" in number else number[:-2]
        understood = f"series {start} is read" if start in series else "no series is read from it"
        raise _unknown(
            f"{text}: {understood}, and no size {number} stands in the ISO 15 rows on file; "
            "check the number, or send the bearing by type, bore, outside diameter, width, taper and clearance class"
        )
    return size


def _marks(text: str, number: str, rest: str) -> _Marks:
    """Return what the suffixes say; what follows a plus sign names another part and is not read."""
    own, plus, other = rest.partition("+")
    runs = [run for run in _SEPARATORS.split(own) if run]
    clearance_class, combined, runs = _class_mark(text, runs)
    taper, before_taper, unread = _taper_mark(text, number, runs)
    if plus:
        unread = (*unread, "+" + other.strip())
    return _Marks(clearance_class, combined, taper, before_taper, unread)


def _class_mark(text: str, runs: list[str]) -> tuple[str | None, str | None, list[str]]:
    """Return the class, the combined mark it was read from, and the runs without them."""
    marks: dict[str, str | None] = {}
    left: list[str] = []
    for run in runs:
        for match in _COMBINED.finditer(run):
            marks.setdefault(f"C{match.group(2)}", match.group(0))
        run = _COMBINED.sub(" ", run)
        for match in _CLASS.finditer(run):
            if match.group(1) in "N12345":
                marks.setdefault(match.group(0), None)
        left += _CLASS.sub(lambda match: " " if match.group(1) in "N12345" else match.group(0), run).split()
    if len(marks) > 1:
        raise _unknown(f"{text}: more than one clearance class is marked ({', '.join(sorted(marks))}); which holds?")
    for clearance_class, combined in marks.items():
        return clearance_class, combined, left
    return None, None, left


def _taper_mark(text: str, number: str, runs: list[str]) -> tuple[str | None, str, tuple[str, ...]]:
    """Return K or K30 with the letters before it, and the unread suffixes."""
    taper, before, unread = None, "", list[str]()
    for run in runs:
        match = _TAPER.fullmatch(run)
        if match is None:
            if "K" in run:
                raise _unknown(
                    f"{text}: {number} is read, but whether {run} means a tapered bore is not clear; "
                    "K means 1:12 and K30 means 1:30; send the bearing by its dimensions and taper"
                )
            unread.append(run)
            continue
        if taper is not None:
            raise _unknown(f"{text}: {number} is read, but K stands in it twice")
        taper, before = "K30" if match.group(2) else "K", match.group(1)
        unread += [match.group(3)] if match.group(3) else []
    return taper, before, (*([before] if before else []), *unread)


def _bearing(size: BoundaryDimensions, marks: _Marks) -> Bearing:
    warnings: list[Warned] = []
    taper = _taper(size, marks.taper, warnings)
    sealed = any(_SEAL.search(suffix) for suffix in marks.unread if not suffix.startswith("+"))
    if sealed:
        warnings.append(SAYS.warned("width_not_known", number=size.number))
    if marks.clearance_class is None:
        warnings.append(SAYS.warned("clearance_class_assumed"))
    if marks.combined is not None:
        mark, tolerance = marks.combined, marks.combined[1]
        said = SAYS.warned("combined_mark", mark=mark, tolerance=tolerance, clearance_class=marks.clearance_class)
        warnings.append(said)
    return Bearing(
        designation=_designation(size.number, marks),
        type=size.type,
        series=size.series,
        bore_mm=size.bore_mm,
        outside_diameter_mm=size.outside_diameter_mm,
        width_mm=None if sealed else size.width_mm,
        taper=taper,
        clearance_class=marks.clearance_class or "CN",
        clearance_class_assumed=marks.clearance_class is None,
        class_to_confirm=marks.clearance_class is None or marks.combined is not None,
        unread_suffixes=marks.unread,
        warnings=tuple(warnings),
    )


def _taper(size: BoundaryDimensions, mark: str | None, warnings: list[Warned]) -> str:
    if mark is None:
        return "cylindrical"
    if mark == "K" and size.tapered_as == "1:30":
        warnings.append(SAYS.warned("taper_read_as_1_30", series=size.series))
        return "1:30"
    if mark == "K30" and size.tapered_as == "1:12":
        warnings.append(SAYS.warned("taper_unusual", series=size.series))
        return "1:30"
    return "1:30" if mark == "K30" else "1:12"


def _designation(number: str, marks: _Marks) -> str:
    """Return the one way in which a designation is written, so that equal bearings compare equal."""
    letters = marks.before_taper + (marks.taper or "")
    rest = marks.unread[1:] if marks.before_taper else marks.unread
    tail, others = marks.combined or marks.clearance_class or "", " ".join(rest)
    tail += (" " if tail and others[:1].isdigit() else "") + others
    return number + (f" {letters}" if letters else "") + (f"/{tail}" if tail else "")

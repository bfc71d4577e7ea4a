"""Split plummer blocks: seat width and bore, cap bolts, locating rings, from the tables or as the site gives them.

Two metric seat designs share the outside dimensions but not the seat width. Which one is fitted is asked, never
assumed: until it is known the housing keeps both as candidates and has no seat width unless both print the same.
"""

from dataclasses import dataclass, field, replace
from typing import Any, Final

from service import units
from service.catalogue import Catalogue
from service.errors import CannotEvaluate, Text
from service.findings import Missing, Source
from service.reference import housing_tables as tables
from service.reference.bearings import Bearing
from service.reference.housing_tables import CapBolts, RingSet, Seat
from service.sentences import Fact
from service.units import Quantity
from service.words import UNIT_SYSTEMS

_SAYS: Final = Catalogue("service.reference")
SAME_MM = 0.01
"""Two dimensions of mating parts closer than this are the same nominal dimension, [mm]."""


@dataclass(frozen=True, slots=True)
class Housing:
    """A housing as far as it is known; lengths [mm]. ``candidates`` are the seats it may have."""

    size: str | None = None
    dimensions: str | None = None
    seat_design: str | None = None
    name: str | None = None
    seat_width_mm: float | None = None
    seat_bore_mm: float | None = None
    centre_height_mm: float | None = None
    shaft_diameter_mm: float | None = None
    bearing_bore_mm: float | None = None
    base_bolt: str | None = None
    cap_bolts: CapBolts | None = None
    rings_given: RingSet | None = None
    candidates: tuple[Seat, ...] = ()
    sources: tuple[Source, ...] = field(default=())

    def record(self) -> dict[str, Any]:
        """Return what the housing is, as it was given and with its seat."""
        return {
            "name": self.name,
            "size": self.size,
            "dimensions": self.dimensions,
            "seat_design": self.seat_design,
            "seat_width": _dimension(self.seat_width_mm),
            "seat_bore": _dimension(self.seat_bore_mm),
            "centre_height": _dimension(self.centre_height_mm),
        }

    @property
    def words(self) -> Text:
        """Return how to call the housing in a sentence, the seat width beside our own name of a design."""
        if self.name is not None:
            return _SAYS.message("title.name", name=self.name)
        if self.size is None:
            return _SAYS.message("title.plain")
        if self.seat_design is None or self.seat_width_mm is None:
            return _SAYS.message("title.number", size=self.size, dimensions=self.dimensions)
        width = units.dimension(self.seat_width_mm)
        return _SAYS.message("title.seat", size=self.size, width=width, design=self.seat_design)

    def accepts(self, bearing: Bearing) -> bool | None:
        """Tell whether the bearing's outside diameter and width go into the seat; None when that is not known."""
        if self.seat_bore_mm is None or bearing.outside_diameter_mm is None:
            return None
        if abs(self.seat_bore_mm - bearing.outside_diameter_mm) > SAME_MM:
            return False
        widest = self.seat_width_mm
        if widest is None and self.candidates:
            widest = max(seat.seat_width_mm for seat in self.candidates)
        return widest is None or bearing.width_mm is None or bearing.width_mm <= widest + SAME_MM

    def travel_mm(self, bearing: Bearing) -> float | None:
        """Return the total axial travel of a bearing in the seat, seat width minus bearing width, [mm]."""
        if self.seat_width_mm is None or bearing.width_mm is None:
            return None
        return round(self.seat_width_mm - bearing.width_mm, 6)

    def locating_rings(self, bearing: Bearing) -> RingSet | None:
        """Return the rings that hold the bearing in a locating housing; None when no table says (rule A7)."""
        if self.rings_given is not None:
            return self.rings_given
        sets = {tables.rings(seat, bearing) for seat in self.candidates}
        return sets.pop() if len(sets) == 1 else None

    def missing(self, prefix: str = "housing", bearing: Bearing | None = None) -> tuple[Missing, ...]:
        """Return what must be asked about the housing, field names below ``prefix``.

        Where both seat designs have one width the question is not asked: nothing would follow from its answer.
        """
        if self.seat_width_mm is None and self.candidates and self.dimensions == "metric":
            return (_seat_design_missing(self, prefix, bearing),)
        return ()


def _dimension(value_mm: float | None) -> Quantity | None:
    return None if value_mm is None else units.dimension(value_mm)


def _seat_design_missing(housing: Housing, prefix: str, bearing: Bearing | None) -> Missing:
    named: Text | None = None
    for seat in housing.candidates:
        facts: dict[str, Fact] = {"width": units.dimension(seat.seat_width_mm), "design": seat.seat_design}
        one = _SAYS.message("design.seat", **facts)
        if bearing is not None and bearing.width_mm is not None:
            travel = units.dimension(round(seat.seat_width_mm - bearing.width_mm, 6))
            one = _SAYS.message("design.travel", travel=travel, **facts)
        named = one if named is None else _SAYS.message("design.more", first=named, next=one)
    said = "seat_design_single" if len(housing.candidates) == 1 else "seat_design"
    return _SAYS.missing(said, f"{prefix}/seat_design", size=housing.size, designs=named)


def housing_from_size(
    *, size: str, dimensions: str, seat_design: str | None = None, bearing: Bearing | None = None
) -> Housing:
    """Return a housing by its number.

    Parameters
    ----------
    size : str
        Number of the housing, "516"; metric numbers for a cylindrical seat too, "216".
    dimensions : str
        "metric" (ISO 113 centre heights and bolts) or "inch".
    seat_design : str or None
        "narrow_seat" or "wide_seat"; None when it is not known. Inch housings have one design.
    bearing : Bearing or None
        The bearing in it, for numbers that serve more than one bore.

    Raises
    ------
    CannotEvaluate
        ``unknown_housing``: the number, or the design for this number, is not in the tables.
    """
    number = size.strip()
    if dimensions not in UNIT_SYSTEMS:
        raise CannotEvaluate(
            f"dimensions {dimensions!r}: say metric or inch", code="unknown_housing", field="dimensions"
        )
    seats = tables.seats(dimensions).get(number)
    if seats is None:
        known = ", ".join(tables.seats(dimensions))
        detail = f"housing {number!r} is not in the table of {dimensions} dimensions; sizes known: {known}"
        raise CannotEvaluate(detail, code="unknown_housing", field="size")
    if dimensions == "inch":
        return _of_seats(number, dimensions, None, seats)
    if seat_design is not None:
        chosen = tuple(seat for seat in seats if seat.seat_design == seat_design)
        if not chosen:
            designs = ", ".join(seat.seat_design or "" for seat in seats)
            detail = f"housing {number} is not in the table with seat design {seat_design!r}; known: {designs}"
            raise CannotEvaluate(detail, code="unknown_housing", field="seat_design")
        seats = chosen
    return _of_seats(number, dimensions, seat_design, seats)


def _of_seats(size: str, dimensions: str, seat_design: str | None, seats: tuple[Seat, ...]) -> Housing:
    """Return the housing with what all its candidate seats agree on; a single unconfirmed design is no agreement."""
    decided = dimensions == "inch" or seat_design is not None
    widths = {seat.seat_width_mm for seat in seats}
    agreed_width = len(widths) == 1 and (decided or len(seats) > 1)
    bolts = {seat.cap_bolts for seat in seats}
    first = seats[0]
    return Housing(
        size=size,
        dimensions=dimensions,
        seat_design=seat_design,
        seat_width_mm=first.seat_width_mm if agreed_width else None,
        seat_bore_mm=first.seat_bore_mm,
        centre_height_mm=first.centre_height_mm,
        shaft_diameter_mm=first.shaft_diameter_mm,
        bearing_bore_mm=first.bearing_bore_mm,
        base_bolt=first.base_bolt,
        cap_bolts=first.cap_bolts if len(bolts) == 1 and (decided or len(seats) > 1) else None,
        candidates=seats,
        sources=(first.source,),
    )


def housing_from_dimensions(
    *,
    seat_width_mm: float,
    seat_bore_mm: float,
    locating_rings: tuple[int, float | None] | None = None,
    name: str | None = None,
    source: Source | None = None,
) -> Housing:
    """Return a housing as a site describes it.

    Parameters
    ----------
    seat_width_mm, seat_bore_mm : float
        Seat between its shoulders and its bore, [mm]
    locating_rings : (count, width_mm) or None
        Rings of the locating housing, count [-] and width of one [mm] where it is known

    Raises
    ------
    CannotEvaluate
        ``housing_dimensions``: a dimension or a ring is not positive, or there are more than two rings.
    """
    for member, value in (("seat_width", seat_width_mm), ("seat_bore", seat_bore_mm)):
        if not value > 0:
            raise CannotEvaluate(f"{member} must be positive", code="housing_dimensions", field=member)
    rings = None
    if locating_rings is not None:
        rings = RingSet(*locating_rings)
        if rings.count not in (1, 2) or (rings.width_mm is not None and not rings.width_mm > 0):
            detail = "locating rings: one or two, with a positive width"
            raise CannotEvaluate(detail, code="housing_dimensions", field="locating_rings")
    given = source or Source("housing-as-given", "housing dimensions as given in the request", "given")
    return Housing(
        name=name, seat_width_mm=seat_width_mm, seat_bore_mm=seat_bore_mm, rings_given=rings, sources=(given,)
    )


def named(housing: Housing, name: str, source: Source) -> Housing:
    """Return the housing under the name a site registered it by, with the site's source."""
    return replace(housing, name=name, sources=(source,))

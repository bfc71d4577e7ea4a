"""The housing tables as typed rows: seats by housing number, cap bolts as printed, locating rings by bearing."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cache

from service.errors import TableError
from service.findings import Source
from service.reference.bearings import Bearing
from service.reference.bolts import thread
from service.reference.tables import provenance, rows
from service.units import MM_PER_IN, UNITS, to_base

RING_SHORTFALL_MM = 0.2
"""Rings may fall this much short of the space beside the bearing, never exceed it, [mm]."""


@dataclass(frozen=True, slots=True)
class PrintedTorque:
    """A cap torque as printed for a bolt; None where a publication prints the bolt without a torque, [N m]."""

    thread: str
    torque_n_m: float | None
    publications: int = 1


@dataclass(frozen=True, slots=True)
class CapBolts:
    """Cap bolts as the tables print them.

    ``status``: agreed, single (one publication), torque_conflict, bolt_conflict, doubtful, not_published.
    """

    thread: str | None
    grade: str | None
    count: int | None
    status: str
    printed: tuple[PrintedTorque, ...] = ()


@dataclass(frozen=True, slots=True)
class RingSet:
    """Locating rings of a housing: how many, and the width of one where it is known, [mm]."""

    count: int
    width_mm: float | None


@dataclass(frozen=True, slots=True)
class Seat:
    """One row of a housing table, for one number; lengths [mm]."""

    row_size: str
    seat_design: str | None
    seat: str
    seat_width_mm: float
    seat_bore_mm: float
    bearing_bore_mm: float
    shaft_diameter_mm: float
    centre_height_mm: float
    base_bolt: str | None
    cap_bolts: CapBolts
    source: Source
    bearing: str | None = None
    rings: RingSet | None = None


@cache
def seats(dimensions: str) -> Mapping[str, tuple[Seat, ...]]:
    """Return the seats of every housing number, metric or inch.

    Raises
    ------
    TableError
        A number appears twice with one design, or a seat is not positive.
    """
    known: dict[str, list[Seat]] = {}
    for number, seat in _metric_seats() if dimensions == "metric" else _inch_seats():
        twins = known.setdefault(number, [])
        if any(twin.seat_design == seat.seat_design for twin in twins):
            raise TableError(f"housings: number {number} appears twice with design {seat.seat_design}")
        if twins and twins[0].seat_bore_mm != seat.seat_bore_mm:
            raise TableError(f"housings: the seat designs of {number} differ in seat bore")
        if not (seat.seat_width_mm > 0 and seat.bearing_bore_mm < seat.seat_bore_mm):
            raise TableError(f"housings: seat of {number}")
        twins.append(seat)
    return {number: tuple(known[number]) for number in sorted(known)}


def _metric_seats() -> Iterator[tuple[str, Seat]]:
    source = provenance("housings_metric_iso113").source
    for row in rows("housings_metric_iso113"):
        numbers = [row["size"], *_listed(row["also_size"])]
        bores = [float(bore) for bore in _listed(row["bearing_bore_mm"])]
        shafts = [float(shaft) for shaft in _listed(row["shaft_mm"])]
        if not len(numbers) == len(bores) == len(shafts):
            raise TableError(f"housings_metric_iso113: {row['size']}: numbers, bores and shafts do not pair")
        places = [(n, row["seat"], b, s) for n, b, s in zip(numbers, bores, shafts, strict=True)]
        for number in _listed(row["cylindrical_seat_numbers"]):
            bore = float(int(number[1:]) * 5)
            places.append((number, "cylindrical_seat", bore, bore))
        for number, seat, bore, shaft in places:
            yield (
                number,
                Seat(
                    row_size=row["size"],
                    seat_design=row["seat_design"],
                    seat=seat,
                    seat_width_mm=float(row["seat_width_mm"]),
                    seat_bore_mm=float(row["seat_bore_mm"]),
                    bearing_bore_mm=bore,
                    shaft_diameter_mm=shaft,
                    centre_height_mm=float(row["centre_height_mm"]),
                    base_bolt=row["base_bolt"] or None,
                    cap_bolts=_metric_cap_bolts(row),
                    source=source,
                ),
            )


def _listed(cell: str) -> list[str]:
    return [part.strip() for part in cell.split(";") if part.strip()]


def _metric_cap_bolts(row: Mapping[str, str]) -> CapBolts:
    """Return the cap bolts; property class and count are not in the metric table, so they are asked."""
    printed = []
    for one in _listed(row["cap_bolt_torques_in_print_n_m"]):
        name, torque, *agreeing = one.split(":")
        publications = int(agreeing[0]) if agreeing else 1
        printed.append(PrintedTorque(thread(name).name, float(torque) if torque else None, publications))
    status = row["cap_bolt_torque_status"]
    fitted = None if status == "bolt_conflict" else thread(row["cap_bolt"]).name
    return CapBolts(fitted, None, None, status, tuple(printed))


def _inch_seats() -> Iterator[tuple[str, Seat]]:
    source = provenance("housings_inch").source
    for row in rows("housings_inch"):
        seat_width_mm, bearing_width_mm = float(row["seat_width_mm"]), float(row["bearing_width_mm"])
        ring_width_mm = float(row["locating_ring_width_mm"])
        if seat_width_mm - bearing_width_mm != float(row["total_travel_mm"]):
            raise TableError(f"housings_inch: {row['size']}: seat - bearing is not the travel")
        _checked_rings(row["size"], 1, ring_width_mm, float(row["total_travel_mm"]))
        yield (
            row["size"],
            Seat(
                row_size=row["size"],
                seat_design=None,
                seat="adapter_sleeve",
                seat_width_mm=seat_width_mm,
                seat_bore_mm=float(row["seat_bore_mm"]),
                bearing_bore_mm=float(row["bearing_bore_mm"]),
                shaft_diameter_mm=_inches(row["shaft_in"]) * MM_PER_IN,
                centre_height_mm=float(row["centre_height_in"]) * MM_PER_IN,
                base_bolt=None,
                cap_bolts=_inch_cap_bolts(row),
                source=source,
                bearing=row["bearing"].removesuffix("K"),
                rings=RingSet(1, ring_width_mm),
            ),
        )


def _inches(text: str) -> float:
    """Return a mixed fraction, "2 11/16", as a number, [in]."""
    return float(sum(Fraction(part) for part in text.split()))


def _inch_cap_bolts(row: Mapping[str, str]) -> CapBolts:
    if not row["cap_bolt"]:
        return CapBolts(None, None, None, "not_published")
    name = thread(row["cap_bolt"]).name
    torque_n_m = to_base(float(row["cap_bolt_torque_lbf_ft_single_publication"]), UNITS["torque"]["lbf.ft"])
    return CapBolts(
        thread=name,
        grade=f"SAE J429 {row['cap_bolt_sae_grade']}",
        count=int(row["cap_bolt_count"]),
        status="single",
        printed=(PrintedTorque(name, torque_n_m),),
    )


@cache
def _metric_rings() -> Mapping[tuple[str, str, str, str], RingSet]:
    """Return the rings by (size, seat design, seat, bearing number).

    Raises
    ------
    TableError
        Rings wider than the space beside the bearing, or more than 0.2 mm short of it; a row given twice.
    """
    known: dict[tuple[str, str, str, str], RingSet] = {}
    for row in rows("locating_rings_metric"):
        key = (row["size"], row["seat_design"], row["seat"], row["bearing"])
        count, width_mm = int(row["ring_count"]), float(row["ring_width_mm"])
        travel_mm = float(row["total_travel_mm"])
        if abs(float(row["seat_width_mm"]) - float(row["bearing_width_mm"]) - travel_mm) > 1e-9 or key in known:
            raise TableError(f"locating_rings_metric: {key}")
        _checked_rings(str(key), count, width_mm, travel_mm)
        known[key] = RingSet(count, width_mm)
    return known


def _checked_rings(of: str, count: int, width_mm: float, travel_mm: float) -> None:
    if count not in (1, 2) or not -1e-9 <= travel_mm - count * width_mm <= RING_SHORTFALL_MM + 1e-9:
        raise TableError(f"locating rings of {of}: {count} x {width_mm} mm in {travel_mm} mm")


def rings(seat: Seat, bearing: Bearing) -> RingSet | None:
    """Return the rings for a bearing in a seat, None when the table has no row for it."""
    number = bearing_number(bearing)
    if number is None:
        return None
    if seat.rings is not None:
        return seat.rings if number == seat.bearing else None
    known = _metric_rings()
    found = known.get((seat.row_size, seat.seat_design or "", seat.seat, number))
    if found is None and seat.seat == "cylindrical_seat":
        found = known.get((seat.row_size, seat.seat_design or "", "adapter_sleeve", number))
    return found


def bearing_number(bearing: Bearing) -> str | None:
    """Return the number series and bore number, "22216", of a bearing known by its series; else None."""
    if bearing.series is None or not 20 <= bearing.bore_mm < 500 or bearing.bore_mm % 5:
        return None
    return f"{bearing.series}{int(bearing.bore_mm // 5):02d}"

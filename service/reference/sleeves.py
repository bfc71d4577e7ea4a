"""Adapter sleeves and the threads of their locknuts, by bearing bore (rule C7)."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Final

from service.findings import Source
from service.reference import tables

_MM_PER_IN: Final = 25.4


@dataclass(frozen=True, slots=True)
class LocknutThread:
    """Thread of a locknut, with its pitch, [mm]."""

    system: str
    size_number: int
    thread: str
    pitch_mm: float
    publications: int
    note: str


@dataclass(frozen=True, slots=True)
class AdapterSleeve:
    """Adapter sleeve of a bearing bore: its metric shaft diameter, [mm], and usual inch shafts."""

    bore_mm: float
    shaft_diameter_mm: float
    inch_shafts: tuple[str, ...]
    publications: int


def sleeve_thread(*, bore_mm: float, system: str) -> LocknutThread | None:
    """Return the locknut thread of an adapter sleeve, or None when no row covers the bore.

    Parameters
    ----------
    bore_mm : float
        Bearing bore, [mm]
    system : str
        ``metric`` or ``inch``

    Source
    ------
    ISO 2982-2 for metric threads, the trade's inch series; see the provenance of locknut_threads.
    """
    return _threads().get((system, bore_mm))


def adapter_sleeve(bore_mm: float) -> AdapterSleeve | None:
    """Return the adapter sleeve of a bearing bore, or None when no row covers it, [mm]."""
    return _sleeves().get(bore_mm)


def locknut_threads() -> Source:
    """Return the source of the locknut threads."""
    return tables.provenance("locknut_threads").source


@cache
def _threads() -> Mapping[tuple[str, float], LocknutThread]:
    return {(row["system"], _bore_mm(row)): _thread(row) for row in tables.rows("locknut_threads")}


def _bore_mm(row: Mapping[str, str]) -> float:
    """Return the bore of the bearing that a locknut size belongs to: five times the size number from 4 on, [mm]."""
    number = int(row["size_no"])
    return number * 5.0 if number >= 4 else (10.0, 12.0, 15.0, 17.0)[number]


def _thread(row: Mapping[str, str]) -> LocknutThread:
    inch = row["system"] == "inch"
    return LocknutThread(
        system=row["system"],
        size_number=int(row["size_no"]),
        thread=row["thread"],
        pitch_mm=_MM_PER_IN / int(row["threads_per_inch"]) if inch else float(row["pitch_mm"]),
        publications=int(row["n_sources"]),
        note=row["note"],
    )


@cache
def _sleeves() -> Mapping[float, AdapterSleeve]:
    return {float(row["bore_mm"]): _sleeve(row) for row in tables.rows("adapter_sleeves")}


def _sleeve(row: Mapping[str, str]) -> AdapterSleeve:
    columns = (
        "inch_shafts_inch_thread_sleeve_two_or_more_sources",
        "inch_shafts_inch_thread_sleeve_one_source",
        "inch_shafts_metric_thread_sleeve_two_or_more_sources",
        "inch_shafts_metric_thread_sleeve_one_source",
    )
    shafts = dict.fromkeys(size for column in columns for size in row[column].split(";") if size)
    return AdapterSleeve(
        bore_mm=float(row["bore_mm"]),
        shaft_diameter_mm=float(row["d1_metric_shaft_mm"]),
        inch_shafts=tuple(shafts),
        publications=int(row["d1_sources_agreeing"]),
    )

"""Five sheets as workshops keep them, with the profile that reads each and what must come out; all invented.

Each sheet is made of the same stays: what a sheet says is known before it is written, so that what comes out is held
against what went in and not against our own reading. ``broken`` rows carry one fault each, whose code is known too.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

POSITIONS = ("tail", "drive")
BEGINNING = datetime(2001, 1, 8, 7, 30, tzinfo=UTC)
ENDS = ("failed", "removed_preventive", "removed_condition")


@dataclass(frozen=True)
class Row:
    """A stay as it was: what every sheet writes in its own way. Lengths in nanometres, hours in tenths."""

    number: int
    asset: str
    position: str
    installed_at: datetime
    removed_at: datetime
    tenths_h: int
    end_type: str
    left_nm: int
    inspected: bool


@dataclass(frozen=True)
class Sheet:
    """A sheet: its bytes, the profile that reads it, the stays it holds and the faults of its broken rows."""

    data: bytes
    profile: dict[str, Any]
    rows: list[Row]
    faults: list[tuple[int, str]] = field(default_factory=list)


def stays(count: int) -> Iterator[Row]:
    """Yield stays of two positions a machine, one after the other, none overlapping."""
    for number in range(count):
        place = number % 400
        turn = number // 400
        begun = BEGINNING + timedelta(days=100 * turn, minutes=7 * place)
        hours = (number * 37) % 19_000 + 1_500  # tenths: 150.0 to 2,049.9 h, below the 99 days a stay runs
        yield Row(
            number=number,
            asset=f"FAN-{place // 2:03d}",
            position=POSITIONS[place % 2],
            installed_at=begun,
            removed_at=begun + timedelta(days=99),
            tenths_h=hours,
            end_type=ENDS[number % 3],
            left_nm=2_540 * (20 + number % 15),  # a whole number of 0.0001 in: 0.0020 to 0.0034 in
            inspected=number % 2 == 0,
        )


def _hours(row: Row, decimal: str, thousands: str) -> str:
    whole, tenth = divmod(row.tenths_h, 10)
    grouped = f"{whole:,}".replace(",", thousands)
    return f"{grouped}{decimal}{tenth}"


def _length(row: Row, mm: str, decimal: str) -> str:
    """Return the clearance in a unit, exactly; ``mm`` is the unit in millimetres."""
    text = format(Decimal(row.left_nm) / 1_000_000 / Decimal(mm), "f")
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return text.replace(".", decimal)


def _sheet(
    rows: list[Row],
    names: list[str],
    cells: Callable[[Row], list[str]],
    profile: dict[str, Any],
    *,
    separator: str,
    encoding: str,
    above: str = "",
    broken: dict[int, tuple[int, str, str]] | None = None,
) -> Sheet:
    """Return a sheet; ``broken``: by number of the row the cell that is replaced, what by, and the code it makes."""
    lines = [separator.join(names)]
    faults = []
    for row in rows:
        line = cells(row)
        if broken and row.number in broken:
            cell, text, code = broken[row.number]
            line[cell] = text
            faults.append((row.number + 1, code))
        lines.append(separator.join(line))
    text = above + "\r\n".join(lines) + "\r\n"
    return Sheet(text.encode(encoding), profile, rows, faults)


def _local(time: datetime, zone: str, pattern: str) -> str:
    return time.astimezone(ZoneInfo(zone)).strftime(pattern)


def semicolons_and_decimal_commas(count: int, *, broken: bool = False) -> Sheet:
    """A list of a workshop: byte order mark, semicolons, 1.234,5 hours, days first, its own words, local times."""
    zone, words = "Europe/Berlin", {"failed": "defekt", "removed_preventive": "geplant", "removed_condition": "Zustand"}
    profile = {
        "name": "semicolons",
        "columns": {"Anlage": "asset", "Seite": "position", "Lager": "designation", "Eingebaut": "installed_at",
                    "Ausgebaut": "removed_at", "Stunden": "operating_hours", "Grund": "end_type",
                    "Restluft": "residual_clearance_mm", "Befundet": "inspected", "Lfd. Nr.": "external_id"},
        "separator": ";", "decimal_mark": ",", "thousands_mark": ".",
        "dates": {"patterns": ["%d.%m.%Y %H:%M"], "zone": zone},
        "values": {"end_type": {theirs: ours for ours, theirs in words.items()},
                   "inspected": {"ja": "true", "nein": "false"}, "position": {"lose": "tail", "fest": "drive"}},
        "ignore": ["Bemerkung"],
    }  # fmt: skip
    sides = {"tail": "lose", "drive": "fest"}

    def cells(row: Row) -> list[str]:
        times = [_local(each, zone, "%d.%m.%Y %H:%M") for each in (row.installed_at, row.removed_at)]
        return [str(row.number), row.asset, sides[row.position], "22216 K/C3", *times, _hours(row, ",", "."),
                words[row.end_type], _length(row, "1", ","), "ja" if row.inspected else "nein", "-"]  # fmt: skip

    faults = {3: (6, "1.23", "wrong_type"), 5: (7, "vergessen", "unknown_end_type"),
              8: (4, "31.02.2003 07:00", "bad_time"), 9: (8, "0.05", "wrong_type"),
              11: (3, "LAGER UNBEKANNT", "unknown_designation")}  # fmt: skip
    names = ["Lfd. Nr.", "Anlage", "Seite", "Lager", "Eingebaut", "Ausgebaut", "Stunden", "Grund", "Restluft",
             "Befundet", "Bemerkung"]  # fmt: skip
    return _sheet(list(stays(count)), names, cells, profile, separator=";", encoding="utf-8-sig",
                  broken=faults if broken else None)  # fmt: skip


def inches_and_months_first(count: int) -> Sheet:
    """A list of a mill: commas, hours with quoted thousands, clearances in thou, month first, yes and no."""
    zone, words = "America/New_York", {"failed": "FAIL", "removed_preventive": "PM", "removed_condition": "PDM"}
    profile = {
        "name": "inches",
        "columns": {"Machine": "asset", "Side": "position", "Brg": "designation", "In": "installed_at",
                    "Out": "removed_at", "Hrs": "operating_hours", "Why": "end_type",
                    "Left (thou)": "residual_clearance_thou",
                    "Looked at?": "inspected"},
        "separator": ",", "decimal_mark": ".", "thousands_mark": ",",
        "dates": {"patterns": ["%m/%d/%Y %H:%M"], "zone": zone},
        "values": {"end_type": {theirs: ours for ours, theirs in words.items()},
                   "inspected": {"Y": "true", "N": "false"}},
        "identity": ["Machine", "Side", "In"],
    }  # fmt: skip

    def cells(row: Row) -> list[str]:
        times = [_local(each, zone, "%m/%d/%Y %H:%M") for each in (row.installed_at, row.removed_at)]
        return [row.asset, row.position, "22216 K/C3", *times, f'"{_hours(row, ".", ",")}"', words[row.end_type],
                _length(row, "0.0254", "."), "Y" if row.inspected else "N"]  # fmt: skip

    names = ["Machine", "Side", "Brg", "In", "Out", "Hrs", "Why", "Left (thou)", "Looked at?"]
    return _sheet(list(stays(count)), names, cells, profile, separator=",", encoding="utf-8")


def tabs_and_spaces(count: int) -> Sheet:
    """An export with tabs: three lines above the names, no-break spaces in thousands, micrometres, year first."""
    profile = {
        "name": "tabs",
        "columns": {"MASKIN": "asset", "PLATS": "position", "LAGER": "designation", "MONTERAD": "installed_at",
                    "UTE": "removed_at", "DRIFTTID": "operating_hours", "ORSAK": "end_type",
                    "RESTGLAPP \u00b5m": "residual_clearance_um", "ID": "external_id"},
        "separator": "\t", "encoding": "utf-16", "skip_lines": 3, "decimal_mark": ",", "thousands_mark": " ",
        "dates": {"patterns": ["%Y-%m-%d %H.%M"], "zone": "Europe/Stockholm"},
        "values": {"end_type": {"haveri": "failed", "byte": "removed_preventive", "m\u00e4tning": "removed_condition"}},
        "fixed": {"inspected": "true", "manufacturer": "Maker A"},
    }  # fmt: skip
    words = {ours: theirs for theirs, ours in profile["values"]["end_type"].items()}  # type: ignore[index]

    def cells(row: Row) -> list[str]:
        times = [_local(each, "Europe/Stockholm", "%Y-%m-%d %H.%M") for each in (row.installed_at, row.removed_at)]
        return [f"R{row.number}", row.asset, row.position, "22216 K/C3", *times, _hours(row, ",", "\u00a0"),
                words[row.end_type], _length(row, "0.001", ",")]  # fmt: skip

    names = ["ID", "MASKIN", "PLATS", "LAGER", "MONTERAD", "UTE", "DRIFTTID", "ORSAK", "RESTGLAPP \u00b5m"]
    above = "Lista\r\n2026-01-07\r\n\r\n"
    return _sheet(list(stays(count)), names, cells, profile, separator="\t", encoding="utf-16", above=above)


def an_older_encoding(count: int) -> Sheet:
    """A list from an old program: windows-1252, bars, apostrophes in thousands, dates without a time, inches."""
    zone = "Europe/Zurich"
    profile = {
        "name": "older",
        "columns": {"Ger\u00e4t": "asset", "Ort": "position", "Typ": "designation", "von": "installed_at",
                    "bis": "removed_at", "h": "operating_hours", "Ende": "end_type",
                    "Luft [Zoll]": "residual_clearance_in"},
        "separator": "|", "encoding": "windows-1252", "decimal_mark": ".", "thousands_mark": "'",
        "dates": {"patterns": ["%d/%m/%Y %H:%M:%S"], "zone": zone},
        "values": {"end_type": {"Sch\u00e4den": "failed", "Plan": "removed_preventive",
                   "Messung": "removed_condition"}},
        "identity": ["Ger\u00e4t", "Ort", "von"],
        "ignore": ["*"],
    }  # fmt: skip
    words = {ours: theirs for theirs, ours in profile["values"]["end_type"].items()}  # type: ignore[index]

    def cells(row: Row) -> list[str]:
        times = [_local(each, zone, "%d/%m/%Y %H:%M:%S") for each in (row.installed_at, row.removed_at)]
        return [row.asset, row.position, "22216-K-C3", *times, _hours(row, ".", "'"), words[row.end_type],
                _length(row, "25.4", "."), "x", "y"]  # fmt: skip

    names = ["Ger\u00e4t", "Ort", "Typ", "von", "bis", "h", "Ende", "Luft [Zoll]", "Spalte 9", "Spalte 10"]
    return _sheet(list(stays(count)), names, cells, profile, separator="|", encoding="windows-1252")


def offsets_and_plain_numbers(count: int) -> Sheet:
    """A dump of a database: our words in other columns, times with offsets, two patterns, numbers without thousands."""
    profile = {
        "name": "dump",
        "columns": {"equipment": "asset", "place": "position", "part": "designation", "t_in": "installed_at",
                    "t_out": "removed_at", "run_h": "operating_hours", "end": "end_type",
                    "left_mm": "residual_clearance_mm", "seen": "inspected", "key": "external_id"},
        "separator": ";", "decimal_mark": ".",
        "dates": {"patterns": ["%Y%m%dT%H%M%S%z", "%Y-%m-%d %H:%M:%S %z"]},
        "values": {"inspected": {"1": "true", "0": "false"}},
    }  # fmt: skip

    def cells(row: Row) -> list[str]:
        times = [row.installed_at.strftime("%Y%m%dT%H%M%S%z"), row.removed_at.strftime("%Y-%m-%d %H:%M:%S %z")]
        return [f"k-{row.number}", row.asset, row.position, "22216KC3", *times, _hours(row, ".", ""), row.end_type,
                _length(row, "1", "."), "1" if row.inspected else "0"]  # fmt: skip

    names = ["key", "equipment", "place", "part", "t_in", "t_out", "run_h", "end", "left_mm", "seen"]
    return _sheet(list(stays(count)), names, cells, profile, separator=";", encoding="utf-8")


SHEETS: dict[str, Callable[[int], Sheet]] = {
    "semicolons and decimal commas": semicolons_and_decimal_commas,
    "inches and months first": inches_and_months_first,
    "tabs and spaces": tabs_and_spaces,
    "an older encoding": an_older_encoding,
    "offsets and plain numbers": offsets_and_plain_numbers,
}

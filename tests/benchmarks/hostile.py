"""The worst that a sender can make each parser do for a kilobyte, beside a plain body. Prints a table.

    python -m tests.benchmarks.hostile [parser]

Each parser gets plain input and what several generators make to hurt it, at two lengths: the second four times the
first, so that a cost that grows with the square of the length shows as a growth of sixteen. Processor time, best of
three, of what the service runs before anything is looked up: refusing counts as much as reading.
"""

import gc
import json
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from typing import Any, Final

from flask import Flask
from jmespath.parser import Parser as JMESPathParser
from marshmallow import ValidationError

from service.api.http import lists, media, versions
from service.api.http.fields import Text
from service.api.http.operations import idempotency_key
from service.api.http.problems import ProblemRaised
from service.errors import ServiceError
from service.exchange import strict_json
from service.exchange.expressions import Expression
from service.mounting.designation import bearing_from_designation
from service.use_cases.books.csv import chart_document
from service.use_cases.stays.import_read import read_import
from tests.api.samples.machines import fan, order

Maker = Callable[[int], bytes]
"""Makes input of about so many bytes."""
WORST_ALLOWED: Final = 5.0
REFUSALS: Final[tuple[type[Exception], ...]] = (ValueError, ServiceError, ProblemRaised, ValidationError)


@dataclass(frozen=True, slots=True)
class Parser:
    """What is run, on plain input and on hostile input, of ``size_bytes`` and four times that."""

    run: Callable[[bytes], Any]
    plain: Maker
    hostile: Mapping[str, Maker]
    size_bytes: int


def repeated(unit: str, *, before: str = "", after: str = "", most: int | None = None) -> Maker:
    """Return what repeats a unit between a beginning and an end."""

    def made(size_bytes: int) -> bytes:
        count = max(1, (size_bytes - len(before) - len(after)) // len(unit.encode()))
        return (before + unit * (count if most is None else min(count, most)) + after).encode("utf-8", "surrogatepass")

    return made


def counted(unit: Callable[[int], str], *, before: str = "", after: str = "", between: str = ",") -> Maker:
    """Return what joins units that differ by their number."""

    def made(size_bytes: int) -> bytes:
        units, length, number = [], 0, 0
        while length < size_bytes:
            units.append(unit(number))
            length, number = length + len(units[-1]) + 1, number + 1
        return (before + between.join(units) + after).encode()

    return made


def _stay(number: int) -> dict[str, Any]:
    return {"external_id": f"S-{number}", "asset": f"FAN-{number % 500}", "position": "tail",
            "designation": "22216 K/C3", "manufacturer": "Maker A", "serial": str(number),
            "installed_at": f"2022-03-{1 + number % 27:02d}T10:00:00Z", "removed_at": "2023-09-12T06:30:00Z",
            "end_type": "failed", "damage": "wear.abrasive", "residual_clearance_mm": 0.0635}  # fmt: skip


HEADER: Final = ",".join(_stay(0))
SHORT: Final = "external_id,asset,position,designation,installed_at,end_type\n"
FIVE: Final = '{"asset":0,"position":0,"designation":0,"installed_at":0,"end_type":0}'


def _members(number: int) -> str:
    return f'"m{number}":{number % 10}'


JSON_HOSTILE: Final[Mapping[str, Maker]] = {
    "one member twice, last": lambda n: counted(_members, before="{", after=',"m0":1}')(min(n, 150_000)),
    "all members twice": lambda n: counted(lambda k: f'"m{k // 2}":0', before="{", after="}")(min(n, 150_000)),
    "empty objects": repeated("{},", before="[", after="0]", most=19_990),
    "empty arrays": repeated("[],", before="[", after="0]", most=19_990),
    "deep arrays": repeated("[" * 30 + "]" * 30 + ",", before="[", after="0]"),
    "brackets in a text": repeated("[{", before='["', after='"]'),
    "brackets that never close": repeated("["),
    "small numbers": repeated("1,", before="[", after="0]", most=19_990),
    "long numbers": repeated("123456789012345678,", before="[", after="1234567890123456789]", most=19_990),
    "decimals": repeated("1.5e-7,", before="[", after="0]", most=19_990),
    "a number without end": repeated("9", before="[", after="]"),
    "escapes": repeated("\\u00e9", before='["', after='"]'),
    "surrogates": repeated("\\ud83d\\ude00", before='["', after='"]'),
    "a text that never closes": repeated('\\"', before="[" + "," * 20_000 + '"'),
    "many texts": repeated('"",', before="[", after="0]"),
    "commas": repeated(",", before="["),
    "lines": repeated("\n", before="[", after="x"),
    "members in each of many objects": repeated('{"a":1,"b":2},', before="[", after="0]", most=6_600),
}
JSON: Final = Parser(
    strict_json.parsed,
    lambda n: json.dumps([{**order(f"WO-{k}"), "asset": fan(f"FAN-{k}")} for k in range(n // 1000 + 1)]).encode(),
    JSON_HOSTILE,
    60_000,
)
IMPORT_HOSTILE: Final[Mapping[str, Maker]] = {
    "empty objects": repeated("{}\n"),
    "five members of the wrong type": repeated(FIVE + "\n"),
    "an id alone": repeated('{"id":""}\n'),
    "empty lines": repeated("\n", before=json.dumps(_stay(0)) + "\n"),
    "another designation in each": counted(
        lambda k: json.dumps({"external_id": f"{k}", "asset": "A", "position": "p", "designation": f"22216 {k}K",
                              "installed_at": "2022-01-01T00:00Z", "end_type": "running"}), between="\n",
    ),
    "another time in each": counted(
        lambda k: json.dumps({"external_id": f"{k}", "asset": "A", "position": "p", "designation": "22216 K",
                              "installed_at": f"{1900 + k % 99}-01-01T00:00:00.{k:06d}+02:00", "end_type": "running"}),
        between="\n",
    ),
    "marks over a letter": lambda n: json.dumps({**_stay(0), "cause": "a" + "\u0301\u0316" * (n // 12)}).encode(),
}  # fmt: skip
NDJSON: Final = Parser(
    lambda data: read_import(data, "application/x-ndjson", None),
    lambda n: "\n".join(json.dumps(_stay(k)) for k in range(n // 280 + 1)).encode(),
    IMPORT_HOSTILE,
    60_000,
)
CSV: Final = Parser(
    lambda data: read_import(data, "text/csv", None),
    lambda n: "\n".join([HEADER, *(",".join(map(str, _stay(k).values())) for k in range(n // 125 + 1))]).encode(),
    {
        "one cell in each row": repeated("a,,,,,\n", before=SHORT),
        "cells of blanks": repeated(" , , , , , \n", before=SHORT),
        "quotes": repeated('"",', before=SHORT),
        "a quote that never closes": repeated('a""', before=SHORT + '"'),
        "empty lines": repeated("\n", before=SHORT),
        "a header without end": repeated("id,"),
        "an unknown header": counted(lambda k: f"c{k}"),
        "another designation in each": counted(
            lambda k: f"{k},A,p,22216 {k}K,2022-01-01T00:00Z,running", before=SHORT, between="\n"
        ),
        "marks over a letter": repeated("\u0301\u0316", before=SHORT + "S,a", after=",p,22216 K,2022-01-01,running"),
        "separators": repeated(";", before=SHORT),
    },
    60_000,
)
GIVEN: Final = {"kind": "reduction", "name": "n", "title": "t"}
BOOK: Final = "bearing_type,bore_over_mm,bore_incl_mm,min_mm,max_mm\n"
CHART: Final = Parser(
    lambda data: chart_document(data, GIVEN),
    counted(lambda k: f"spherical_roller,{k},{k + 1},0.04,0.05", before=BOOK, between="\n"),
    {
        "one cell in each row": repeated("a,,,,\n", before=BOOK),
        "other types": counted(lambda k: f"t{k},1,2,3,4", before=BOOK, between="\n"),
        "a column again and again": repeated("min_mm,"),
        "an unknown header": counted(lambda k: f"c{k}"),
        "a name that almost fits": counted(lambda k: f"smallest_residual_c2_{k}"),
        "quotes": repeated('"",', before=BOOK),
    },
    30_000,
)


def _text(data: bytes) -> Any:
    return Text(500).deserialize(data.decode("utf-8", "surrogatepass"))


TEXT: Final = Parser(
    _text,
    repeated("seal worn and dry; "),
    {
        "marks in two orders": repeated("\u0301\u0316", before="a"),
        "marks in the wrong order": lambda n: ("a" + "\u0301" * (n // 4) + "\u0316" * (n // 4)).encode(),
        "letters with a mark": repeated("a\u0301"),
        "syllables in parts": repeated("\u1112\u1161\u11ab"),
        "blanks": repeated(" "),
        "control characters, last": repeated("a", after="\x01"),
    },
    480,
)
DESIGNATION: Final = Parser(
    lambda data: bearing_from_designation.__wrapped__(data.decode()),
    lambda _n: b"22216 CCK/C3W33",
    {
        "marks": repeated("\u0301\u0316", before="22216 K"),
        "suffixes": repeated("K/", before="22216 "),
        "classes": repeated("C3", before="22216 K/"),
        "one number": repeated("2"),
        "blanks": repeated(" ", before="22216 K", after="/C3"),
        "slashes": repeated("/1", before="230"),
    },
    50,
)


def compiled(data: bytes) -> Any:
    """Compile an expression that was not compiled before."""
    JMESPathParser.purge()
    return Expression(data.decode())


EXPRESSION: Final = Parser(
    compiled,
    repeated("items[?t=='x'].n | [0] || ", after="number"),
    {
        "members": repeated("a.", after="a"),
        "brackets": repeated("["),
        "not": repeated("!", after="a"),
        "alternatives": repeated("a||", after="a"),
        "lists of lists": repeated("[a,", before="[", after="a"),
        "literals": repeated("`1`||", after="a"),
        "a literal": repeated("1,", before="`[", after="1]`"),
        "calls": repeated("length(", after="a"),
        "flattening": repeated("[]", before="a"),
        "a text that never closes": repeated("\\'", before="'"),
    },
    900,
)
APP: Final = Flask("hostile")
APP.config["PUBLIC_URL"] = ""


def with_header(name: str, read: Callable[[], Any]) -> Callable[[bytes], Any]:
    """Return what reads a header field in a request of its own; gunicorn joins fields of one name."""

    def run(data: bytes) -> Any:
        with APP.test_request_context("/", headers={name: data.decode("latin-1")}):
            return read()

    return run


def with_query(data: bytes) -> Any:
    """Read a cursor."""
    with APP.test_request_context("/v1/assets"):
        return lists.after({"cursor": data.decode("latin-1")}, "s")


OFFERED: Final = ("application/json", "text/html", "application/pdf", "text/plain", "text/markdown")
TAGS: Final[Mapping[str, Maker]] = {
    "commas": repeated(","),
    "digits": repeated("9"),
    "quotes": repeated('"'),
    "small tags": repeated("1,"),
    "dots": repeated(".", before='"1'),
    "blanks": repeated(" ,"),
    "weak": repeated("W/"),
}
PLAIN_TAGS: Final = counted(lambda k: f'"{k}.json.metric"', between=", ")
PARSERS: Final[Mapping[str, Parser]] = {
    "JSON": JSON,
    "NDJSON": NDJSON,
    "CSV of stays": CSV,
    "CSV of charts": CHART,
    "text": TEXT,
    "designation": DESIGNATION,
    "expression": EXPRESSION,
    "If-Match": Parser(with_header("If-Match", lambda: versions.required_version(7, "metric")), PLAIN_TAGS, TAGS, 900),
    "If-None-Match": Parser(with_header("If-None-Match", lambda: versions.not_modified("x")), PLAIN_TAGS, TAGS, 900),
    "Accept": Parser(
        with_header("Accept", lambda: media.best_media(OFFERED)),
        repeated("text/html;q=0.8, application/json;q=0.5, "),
        {
            "commas": repeated(","),
            "small types": repeated("a/b,"),
            "qualities": repeated("a/b;q=0.5,"),
            "parameters": repeated(";a=b", before="a/b"),
            "quotes": repeated('";', before="a/b;a="),
            "stars": repeated("*/*;q=0.1,"),
            "a parameter that goes on": counted(lambda k: f"a*{k}=b", before="a/b;", between=";"),
            "escapes": repeated('\\"', before='a/b;a="'),
        },
        900,
    ),
    "Idempotency-Key": Parser(
        with_header("Idempotency-Key", idempotency_key),
        repeated("4f6a1c1e-9e52-4c39-9d0b-000000000001"),
        {
            "quotes": repeated('"'),
            "letters": repeated("a"),
            "high letters": repeated("\u00e9"),
            "blanks": repeated(" "),
        },
        250,
    ),
    "cursor": Parser(
        with_query,
        lambda n: b"MDE5YTIxMWUtZDZlZi03MTMzLTk0NWYtOGY1MTc3NDQ0YjY2YWJjZGVm"[:n],
        {"letters": repeated("A"), "signs": repeated("="), "blanks": repeated(" "), "dashes": repeated("-_")},
        60,
    ),
}


def spent_s(run: Callable[[bytes], Any], data: bytes) -> float:
    """Return the least processor time of three runs, refusals included, [s]."""
    best = float("inf")
    for _ in range(3):
        rounds = 1 if len(data) > 5_000 else 20
        begin = time.thread_time()
        for _ in range(rounds):
            with suppress(*REFUSALS):
                run(data)
        best = min(best, (time.thread_time() - begin) / rounds)
    return best


@dataclass(frozen=True, slots=True)
class Cost:
    """What one kind of input costs: processor time of a kilobyte at both lengths, [us], against the plain kind."""

    parser: str
    name: str
    bytes_: int
    us_per_kb: float
    longer_us_per_kb: float
    times_plain: float


def costs(name: str) -> Iterator[Cost]:
    """Yield the cost of the plain input and of each hostile one; time that any input takes counts as plain."""
    parser = PARSERS[name]
    plain = [spent_s(parser.run, parser.plain(size)) for size in (parser.size_bytes, 4 * parser.size_bytes)]
    for kind, make in {"plain": parser.plain, **parser.hostile}.items():
        data = [make(parser.size_bytes), make(4 * parser.size_bytes)]
        spent = [spent_s(parser.run, each) for each in data]
        per_kb = [1e6 * s / (len(each) / 1000) for s, each in zip(spent, data, strict=True)]
        plain_kb = [
            1e6 * s / (len(parser.plain(size)) / 1000)
            for s, size in zip(plain, (parser.size_bytes, 4 * parser.size_bytes), strict=True)
        ]
        times = max(one / other for one, other in zip(per_kb, plain_kb, strict=True))
        yield Cost(name, kind, len(data[1]), per_kb[0], per_kb[1], times)


def main(names: list[str]) -> None:
    """Print the table; garbage is collected as in the server."""
    gc.freeze()
    gc.set_threshold(100_000, 20, 50)
    print("| parser | input | bytes | us a kB | four times as long | times plain |")
    print("|---|---|---|---|---|---|")
    for name in names or PARSERS:
        for cost in costs(name):
            over = " **over**" if cost.times_plain > WORST_ALLOWED else ""
            print(
                f"| {cost.parser} | {cost.name} | {cost.bytes_:,} | {cost.us_per_kb:,.1f} "
                f"| {cost.longer_us_per_kb:,.1f} | {cost.times_plain:.1f}{over} |",
                flush=True,
            )


if __name__ == "__main__":
    main(sys.argv[1:])

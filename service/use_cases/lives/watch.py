"""The daily look: positions and groups that fail more than others become events, each once until it changes.

An alarm is raised at an adjusted p of 0.005 and stands as long as the answer flags it, at 0.05; then it is forgotten,
and may be raised again. Between the two nothing is told, so that an alarm does not flicker.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from service.errors import CannotEvaluate
from service.record import plain
from service.reliability.excess import Excess
from service.reliability.group_excess import group_excess
from service.reliability.place_excess import place_excess
from service.reliability.policy import ALARM_LEVEL
from service.store.database import Database
from service.store.identity import new_id
from service.store.queries.alarms import Subject, end_alarms, hold_alarms, raise_alarm, standing_alarms
from service.store.queries.sites import COMMAND_LINE, site_by_code, site_codes
from service.store.queries.stay_lists import Chosen
from service.store.unit_of_work import Event, Tx, Written
from service.use_cases.lives.comparison import MOST_COMPARED, stated
from service.use_cases.lives.data import NOT_STATED, grouped, history, named_keys
from service.use_cases.lives.population import Population, population

GROUPS: Final = ("manufacturer", "installer", "lubricant", "batch")
"""By what stays are compared each day."""
ASKED: Final[Mapping[str, Any]] = {"count": "by_reason"}
POSITION: Final = "position"
GROUP: Final = "group"
TYPES: Final = {POSITION: "position.flagged", GROUP: "group.flagged"}


@dataclass(frozen=True, slots=True)
class Finding:
    """What the answer to a question flags; ``data`` goes into the event."""

    about: Subject
    verdict: str
    adjusted_p: float
    data: dict[str, Any]

    @property
    def alarming(self) -> bool:
        """Return whether it is sure enough to tell without being asked."""
        return self.adjusted_p <= ALARM_LEVEL

    def event(self) -> Event:
        """Return what is told."""
        kind, subject = self.about
        return Event(TYPES[kind], kind, subject, None, None, self.data)


@dataclass(frozen=True, slots=True)
class Watched:
    """What a look at a site found: alarms that stand by kind, events told, alarms ended, questions not answered."""

    site_code: str
    standing: dict[str, int]
    told: int
    ended: int
    not_answered: list[str] = field(default_factory=list)


def watch(database: Database, site_code: str | None = None) -> list[Watched]:
    """Look at every site, or at one, and tell what is new.

    Raises
    ------
    NotFound
        No site has this code.
    """
    sites = site_codes(database)
    if site_code is not None:
        sites = {site_by_code(database, site_code).id: site_code}
    return [watch_site(database, site_id, code) for site_id, code in sites.items()]


def watch_site(database: Database, site_id: str, code: str) -> Watched:
    """Look at a site in one transaction, and tell what is new in another, short one."""
    silent: list[str] = []
    with database.read(site_id, past=True) as tx:
        found = {one.about: one for one in findings(tx, silent)}
    done: list[Watched] = []

    def work(tx: Tx) -> Written:
        hold_alarms(tx)
        before = standing_alarms(tx)
        ended = [about for about in before if about not in found and not _asked_in_vain(about, silent)]
        new = [one for one in found.values() if one.alarming and before.get(one.about) != one.verdict]
        end_alarms(tx, ended)
        for one in new:
            raise_alarm(tx, one.about, one.verdict)
        after = ({*before} - {*ended}) | {one.about for one in new}
        standing = {kind: sum(about[0] == kind for about in after) for kind in (POSITION, GROUP)}
        done[:] = [Watched(code, standing, len(new), len(ended), silent)]
        return Written(200, "", events=tuple(one.event() for one in new))

    database.write(site_id=site_id, actor=COMMAND_LINE, request_id=new_id(), work=work)
    return done[0]


def findings(tx: Tx, silent: list[str]) -> Iterator[Finding]:
    """Yield what the questions flag today; those that could not be answered are added to ``silent``."""
    data = history(tx, Chosen(), *named_keys(GROUPS))
    try:
        people = population(data, ASKED)
    except CannotEvaluate:  # no life: nothing is flagged, and what was flagged is no more
        return
    yield from _positions(people)
    for key in GROUPS:
        try:
            yield from _groups(people, key)
        except CannotEvaluate as refused:
            silent.append(f"{key}: {refused}")


def _positions(people: Population) -> Iterator[Finding]:
    found = place_excess(people.table, people.table.position)
    places = [people.data.places[int(one)] for one in found.place]
    labels = [place.label for place in places]
    rows = found.excess.flagged.nonzero()[0]
    for row, item in zip(rows.tolist(), found.items(rows, labels), strict=True):
        place = places[row]
        named = {"asset": place.asset, "position": place.name, "question": "replacement-ranking"}
        yield _finding((POSITION, place.id), found.excess, row, item, named)


def _groups(people: Population, key: str) -> Iterator[Finding]:
    if set(grouped(people.data, (key,), MOST_COMPARED).labels) <= {NOT_STATED}:
        return
    people = stated(people, (key,))
    groups = grouped(people.data, (key,), MOST_COMPARED)
    if len(groups.labels) < 2:
        return
    found = group_excess(people.table, groups.number, groups.labels, keys=(key,))
    rows = found.excess.flagged.nonzero()[0]
    for row, item in zip(rows.tolist(), found.items(rows, people.assets), strict=True):
        label = groups.labels[row]
        named = {"group_by": key, "group": label, "question": f"life-comparison?group_by={key}"}
        yield _finding((GROUP, f"{key}={label}"), found.excess, row, item, named)


def _finding(about: Subject, excess: Excess, row: int, item: Mapping[str, Any], named: Mapping[str, Any]) -> Finding:
    numbers = {name: item[name] for name in ("observed", "expected", "ratio", "adjusted_p", "test", "verdict")}
    data = {**named, **numbers, "detail": _words(item["detail"]), "family": excess.family}
    return Finding(about, item["verdict"], float(excess.adjusted_p[row]), data)


def _words(detail: Any) -> str:
    """Return a sentence of whole lives: it holds no quantity, whose unit would hang on the reader."""
    parts: Sequence[Any] = detail if isinstance(detail, tuple) else (detail,)
    return "".join(str(plain(part)) for part in parts)


def _asked_in_vain(about: Subject, silent: Sequence[str]) -> bool:
    """Return whether the question that an alarm came from was not answered this time."""
    return about[0] == GROUP and any(said.startswith(f"{about[1].partition('=')[0]}:") for said in silent)

"""A new baseline of a site: its rows are taken into the chain as they are, and what differed is kept in the journal."""

from dataclasses import dataclass

from service.store.baseline import enter_baseline
from service.store.database import Database
from service.store.identity import new_id
from service.store.queries.sites import COMMAND_LINE, site_by_code
from service.store.unit_of_work import Tx, Written
from service.use_cases.checks.audit import Audited, Fault, Told, audit

MOST_NAMED = 100


@dataclass(frozen=True, slots=True)
class Rebased:
    """What was found before the baseline, as far as it is named, and how many faults there were, [-]."""

    found: list[Told]
    faults: int


def take_baseline(database: Database, site_code: str, reason: str) -> Rebased:
    """Enter a baseline of a site and return what the chain did not bear out before.

    Raises
    ------
    NotFound
        No site has this code.
    """
    site = site_by_code(database, site_code)
    found: list[Told] = []
    faults = 0
    for each in audit(database, site_code):
        if isinstance(each, Fault):
            faults += 1
            if len(found) < MOST_NAMED:
                found.append(each)
        elif isinstance(each, Audited):
            found.append(each)
    named = [[each.table, each.key, each.what] for each in found if isinstance(each, Fault)]
    data = {"why": reason, "faults": faults, "found": named}
    request_id = new_id()

    def work(tx: Tx) -> Written:
        enter_baseline(tx, actor=COMMAND_LINE, request_id=request_id, data=data)
        return Written(200, "")

    database.write(site_id=site.id, actor=COMMAND_LINE, request_id=request_id, work=work)
    return Rebased(found, faults)

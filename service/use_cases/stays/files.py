"""Stays in files, for the command line: the same checks, the same journal and the same lines as by the API."""

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from service.errors import CannotEvaluate
from service.exchange.media import CSV, JSON, NDJSON
from service.store.database import Database
from service.store.identity import new_id
from service.store.queries.attributes import attribute_types
from service.store.queries.sites import COMMAND_LINE, site_by_code
from service.store.queries.stay_lists import Chosen, stay_rows
from service.store.unit_of_work import Tx, Written
from service.use_cases.stays.import_read import read_import
from service.use_cases.stays.import_stays import ImportResult, import_stays
from service.use_cases.stays.lines import LISTED_COLUMNS, cells_of
from service.use_cases.stays.lists import list_text, row_batches
from service.use_cases.stays.profile import NONE, Profile
from service.use_cases.stays.profiles import check_profile, enter_profile, profile_named

MEDIA: Final = {".csv": CSV, ".ndjson": NDJSON, ".json": JSON}


def import_file(
    database: Database,
    site_code: str,
    file: Path,
    *,
    zone: str | None,
    create_assets: bool,
    dry_run: bool,
    accept_unknown: bool = False,
    profile: str | Profile = NONE,
) -> ImportResult:
    """Import the stays of a file, and return what that did, or with ``dry_run`` would do.

    Parameters
    ----------
    profile : str or Profile
        How the sheet is read: the name of a profile of the site, or the profile itself.

    Raises
    ------
    CannotEvaluate
        ``import_refused`` with a report; what a body would be refused for.
    NotFound
        There is no such site.
    """
    site_id = site_by_code(database, site_code).id
    if isinstance(profile, str):
        with database.read(site_id) as tx:
            profile = profile_named(tx, profile)
    read = read_import(file.read_bytes(), _media(file), zone, profile)
    done: list[ImportResult] = []

    def work(tx: Tx) -> Written:
        done.append(import_stays(tx, read, create_assets=create_assets, accept_unknown=accept_unknown))
        return Written(200, "", events=done[-1].events)

    database.write(site_id=site_id, actor=COMMAND_LINE, request_id=new_id(), work=work, dry_run=dry_run)
    return done[-1]


def export_file(database: Database, site_code: str, file: Path) -> int:
    """Write all stays of a site to a file and return how many they are.

    Raises
    ------
    CannotEvaluate
        The ending of the file is neither .csv nor .ndjson.
    NotFound
        There is no such site.
    """
    media = _media(file)
    if media == JSON:
        raise CannotEvaluate("a list of any length is written as .csv or .ndjson", field="file")
    site_id = site_by_code(database, site_code).id
    count = 0

    def counted() -> Iterator[Sequence[Any]]:
        nonlocal count
        for batch in row_batches(database, site_id, _rows, "id"):
            count += len(batch)
            yield batch

    with database.read(site_id) as tx:
        names = sorted(attribute_types(tx))
    columns = cells_of(LISTED_COLUMNS, names) if media == CSV else LISTED_COLUMNS
    text = list_text(media, counted(), columns)
    with file.open("w", encoding="utf-8", newline="") as out:
        out.writelines(text)
    return count


def report_lines(report: Sequence[Mapping[str, Any]]) -> list[str]:
    """Return a report, one line a fault; a column by what the sheet calls it."""
    return [
        f"row {one['row']}, {one.get('sent_as') or one['column']}: {one['message']} ({one['code']})" for one in report
    ]


def count_lines(counts: Sequence[Mapping[str, Any]]) -> list[str]:
    """Return how many faults have each code in each column, one line each."""
    return [f"{one['count']} x {one['code']} in {one['column'] or 'the row'}" for one in counts]


def enter_profile_file(database: Database, site_code: str, given: dict[str, Any]) -> tuple[str, int]:
    """Store a loaded profile as the next version of its name, and return name and version.

    Raises
    ------
    CannotEvaluate
        ``import_profile_refused``
    NotFound
        There is no such site.
    """
    check_profile(given)
    site_id = site_by_code(database, site_code).id
    entered: list[tuple[str, int]] = []

    def work(tx: Tx) -> Written:
        row, event = enter_profile(tx, given)
        entered.append((row.name, row.version))
        return Written(201, "", events=(event,))

    database.write(site_id=site_id, actor=COMMAND_LINE, request_id=new_id(), work=work)
    return entered[-1]


def _rows(tx: Tx, after: str | None, limit: int) -> Sequence[Any]:
    return stay_rows(tx, Chosen(), after=after, limit=limit)


def _media(file: Path) -> str:
    media = MEDIA.get(file.suffix.lower())
    if media is None:
        raise CannotEvaluate(f"{file.name} ends with none of {', '.join(MEDIA)}", field="file")
    return media

"""Five messy sheets of 20,000 rows each through their profiles: ``python -m tests.long sheets``. Prints what came."""

import sys
import tempfile
import time
from pathlib import Path
from typing import Any, Final

from service.settings import Settings
from service.store import migrate
from service.store.database import Database
from service.store.queries.sites import create_site
from service.store.queries.stay_lists import Chosen, stay_rows
from service.use_cases.stays.files import import_file
from service.use_cases.stays.profile import profile_of
from service.use_cases.stays.profiles import check_profile
from tests.api.stays.messy_sheets import SHEETS, Row

ROWS: Final = 20_000


def is_right(row: Row, stay: Any) -> bool:
    """Whether a stay is the row that the sheet was made of."""
    meant = (row.removed_at, row.tenths_h / 10, row.end_type, row.left_nm)
    return stay is not None and meant == (
        stay.removed_at, stay.operating_hours, stay.end_type, stay.residual_clearance_nm,
    )  # fmt: skip


def main(rows: int) -> int:
    """Import each sheet into a site of its own and hold every stay against the row it was made of."""
    wrong = 0
    with tempfile.TemporaryDirectory() as folder:
        url = f"sqlite:///{folder}/sheets.db"
        migrate.upgrade(url)
        database = Database(Settings(database_url=url))
        for number, (name, made) in enumerate(SHEETS.items()):
            sheet, file = made(rows), Path(folder) / f"{number}.csv"
            file.write_bytes(sheet.data)
            check_profile(sheet.profile)
            site = create_site(database, f"S{number}", name, "metric")
            began = time.perf_counter()
            done = import_file(
                database, f"S{number}", file, zone=None, create_assets=True, dry_run=False,
                profile=profile_of(sheet.profile),
            )  # fmt: skip
            took_s = time.perf_counter() - began
            with database.read(site.id) as tx:
                stored = stay_rows(tx, Chosen(), after=None, limit=rows + 1)
            found = {(each.asset, each.position, each.installed_at): each for each in stored}
            bad = sum(not is_right(row, found.get((row.asset, row.position, row.installed_at))) for row in sheet.rows)
            wrong += bad + (done.created != rows)
            print(f"{name:32}{len(sheet.data):10} bytes  {done.created} new in {took_s:.1f} s, {bad} not as meant")
        database.dispose()
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else ROWS))

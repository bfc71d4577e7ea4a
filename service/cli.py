"""capsaddle: the command line."""

import sys
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any, Final

import click

from service.commands.audit import audit, tell_audit
from service.commands.lists import list_keys, list_sites
from service.commands.running import with_settings
from service.commands.secret import require_secret, secret, tell_sealing, tell_unfinished
from service.errors import ServiceError
from service.settings import Settings
from service.words import UNIT_SYSTEMS


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="cap-and-saddle")
def main() -> None:
    """Mounting instructions and bearing history for maintenance systems.

    The database is CAPSADDLE_DATABASE_URL (default sqlite:///capsaddle.db).
    """


@main.command()
@click.option("--finish", is_flag=True, help="No process of the version before runs any more: end what only it needed.")
@with_settings
def migrate(settings: Settings, finish: bool) -> None:
    """Bring the database to the schema of this version.

    Processes of the version before may go on until they are replaced. When the last one has stopped, --finish encrypts
    the secrets of webhooks and, on PostgreSQL, lets nobody read keys before their site is known.
    """
    from sqlalchemy.engine import make_url
    from sqlalchemy.exc import OperationalError

    from service.store import migrate as migrations

    require_secret(settings)
    try:
        migrations.upgrade(settings.database_url)
        if finish:
            migrations.close_doors(settings.database_url)
            tell_sealing(settings)
    except OperationalError as error:
        where = make_url(settings.database_url).render_as_string(hide_password=True)
        said = " ".join(str(error.orig).split())
        raise click.ClickException(f"{where} cannot be opened or migrated: {said}") from None
    tell_unfinished(settings)
    click.echo(f"The database is at {migrations.head()}.")


@main.group()
def sites() -> None:
    """The sites that share this service."""


@sites.command("create")
@click.argument("code")
@click.option("--name", required=True, help="Name of the site.")
@click.option("--units", required=True, type=click.Choice(UNIT_SYSTEMS), help="Units of its cards and blades.")
@with_settings
def create_site(settings: Settings, code: str, name: str, units: str) -> None:
    """Create a site."""
    from service.store.database import Database
    from service.store.queries import sites as stored

    site = stored.create_site(Database(settings), code, name, units)
    click.echo(f"Site {site.code} ({site.name}, {site.units} units) is created.")


@sites.command("blades")
@click.argument("code")
@click.argument("blades", nargs=-1, required=True)
@click.option("--unit", type=click.Choice(["in", "mm"]), help="Unit stamped on the blades.")
@with_settings
def set_blades(settings: Settings, code: str, blades: tuple[str, ...], unit: str | None) -> None:
    """Say which feeler blades the site owns: "inch", "metric", or every BLADE by its stamp with --unit.

    \b
    capsaddle sites blades MILL-A metric
    capsaddle sites blades MILL-A --unit in 0.0015 0.002 0.0025 0.003 0.004
    """
    from service.mounting.blades import blade_set_of
    from service.store.database import Database
    from service.store.queries import sites as stored
    from service.units import Quantity, nm_from_in, nm_from_mm

    given: Any = blades[0]
    if blades not in (("inch",), ("metric",)):
        if unit is None:
            raise click.UsageError("name the unit stamped on the blades: --unit in or --unit mm")
        try:
            read = [(nm_from_in if unit == "in" else nm_from_mm)(blade) for blade in blades]
        except ValueError as error:
            raise click.UsageError(f"a blade is written by its stamp, such as 0.0025: {error}") from None
        given = [Quantity(f"blade_{unit}", thickness_nm) for thickness_nm in read]
    sizes = len(blade_set_of(given).blades_nm)
    stored.set_blade_set(Database(settings), code, given)
    click.echo(f"{code} measures with {sizes} blades now; work orders opened before keep theirs.")


@sites.command("set")
@click.argument("code")
@click.option("--require-release", type=click.Choice(["yes", "no"]), help="No work begins on an order not released.")
@click.option("--hours", multiple=True, metavar="SIZE:PHASE=H", help="Own clock hours for two bearings, in a plan.")
@with_settings
def set_site(settings: Settings, code: str, require_release: str | None, hours: tuple[str, ...]) -> None:
    """Set what a site decides: whether orders must be released, and its own hours in place of those assumed.

    \b
    capsaddle sites set MILL-A --require-release yes
    capsaddle sites set MILL-A --hours small:strip=2 --hours small:run_in=4
    """
    from service.store.database import Database
    from service.store.queries import sites as stored

    if require_release is None and not hours:
        raise click.UsageError("say what to set: --require-release, --hours")
    own: dict[str, dict[str, float]] = {}
    for each in hours:
        where, _, given = each.partition("=")
        size, _, phase = where.partition(":")
        try:
            own.setdefault(size, {})[phase] = float(given)
        except ValueError:
            raise click.UsageError(f"hours are written SIZE:PHASE=H, such as small:strip=2, not {each!r}") from None
    required = None if require_release is None else require_release == "yes"
    site = stored.change_settings(Database(settings), code, require_release=required, planning_hours=own or None)
    must = "must be released before work begins" if site.require_release else "need no release"
    counted = sum(len(phases) for phases in (site.planning_hours or {}).values())
    click.echo(f"Orders of {code} {must}; {counted} of its hours are its own.")


@sites.command("photos")
@click.argument("code")
@click.argument("state", type=click.Choice(["on", "off"]))
@with_settings
def switch_photos(settings: Settings, code: str, state: str) -> None:
    """Say whether the site takes photos of its jobs; what it took stays."""
    from service.store.database import Database
    from service.store.queries import sites as stored

    stored.set_photos(Database(settings), code, taken=state == "on")
    click.echo(f"Photos of {code} are {state} now.")


@main.group()
def keys() -> None:
    """API keys: one site each, shown once."""


sites.add_command(list_sites)
keys.add_command(list_keys)


@keys.command("create")
@click.option("--site", required=True, help="Code of the site.")
@click.option("--scopes", required=True, help="Comma-separated: read,write,approve,admin. None implies another.")
@click.option("--label", help="Who holds the key.")
@click.option("--expires", type=click.DateTime(["%Y-%m-%d"]), help="Last day of the key, in UTC: 2027-06-30.")
@with_settings
def create_key(settings: Settings, site: str, scopes: str, label: str | None, expires: datetime | None) -> None:
    """Create an API key; the last line printed is the key alone."""
    from service.store.database import Database
    from service.store.queries import keys as stored

    wanted = [scope.strip() for scope in scopes.split(",") if scope.strip()]
    ends = None if expires is None else expires.replace(tzinfo=UTC) + timedelta(days=1)
    if ends is not None and ends <= datetime.now(UTC):
        raise click.UsageError(f"--expires {expires:%F} is over already")
    key = stored.create_key(Database(settings), site, wanted, label, ends)
    click.echo("Keep this key now; it cannot be shown again:", err=True)
    click.echo(key)


@keys.command("revoke")
@click.option("--site", required=True, help="Code of the site.")
@click.argument("key_id")
@with_settings
def revoke_key(settings: Settings, site: str, key_id: str) -> None:
    """Revoke the key KEY_ID (the part between the first and the second underscore)."""
    from service.store.database import Database
    from service.store.queries import keys as stored

    stored.revoke_key(Database(settings), site, key_id)
    click.echo(f"Key {key_id} of {site} is revoked.")


@main.command()
@click.option("--bind", default="127.0.0.1:8080", show_default=True, help="HOST:PORT to listen on.")
@click.option("--workers", default=1, show_default=True, type=click.IntRange(1, 64), help="Processes (1 on SQLite).")
@click.option("--threads", default=8, show_default=True, type=click.IntRange(1, 64), help="Threads of each process.")
@click.option("--drain", default=0.0, show_default=True, type=click.FloatRange(0, 60), help="Seconds before stopping.")
@with_settings
def serve(settings: Settings, bind: str, workers: int, threads: int, drain: float) -> None:
    """Serve the API with gunicorn until interrupted.

    On SIGTERM /health/ready answers 503 at once; after --drain seconds no more connections are taken, and what is
    under way is finished.
    """
    from service.serving.gunicorn import Server

    require_secret(settings)
    Server(settings, bind=bind, workers=workers, threads=threads, drain_s=drain).run()


@main.command()
@click.option("--once", is_flag=True, help="Deliver what is due now and stop.")
@with_settings
def deliver(settings: Settings, once: bool) -> None:
    """Send events to the subscriptions of all sites until interrupted; several may run at once."""
    import logging
    import signal

    from service.store.database import Database
    from service.webhooks.relay import Relay

    require_secret(settings)
    logging.basicConfig(level=settings.log_level.upper())
    relay = Relay(Database(settings), settings)
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: relay.stopping.set())
    if once:
        click.echo(f"{relay.run_once()} steps done.")
    else:
        relay.run()
    relay.database.dispose()


@main.command()
@click.option("--once", is_flag=True, help="Print the instructions and stop.")
@click.option("--port", default=8080, show_default=True, type=click.IntRange(0, 65535), help="Port; 0: any free one.")
def demo(once: bool, port: int) -> None:
    """Show the job on an invented plant: open a work order, print its instructions, keep serving."""
    from service.demo.show import run

    sys.exit(run(once=once, port=port))


@main.command("openapi")
@click.argument("file", type=click.Path(dir_okay=False, writable=True))
def write_openapi(file: str) -> None:
    """Write the OpenAPI document to FILE."""
    from pathlib import Path

    from service.app import create_app

    document = create_app(Settings()).extensions["capsaddle"].openapi
    Path(file).write_text(document + "\n", encoding="utf-8")


@main.group()
def charts() -> None:
    """Charts from the makers' books."""


@charts.command("import")
@click.argument("file", type=click.Path(exists=True, dir_okay=False))
@click.option("--site", required=True, help="Code of the site.")
@click.option("--kind", required=True, help="What the rows are: reduction, cap_bolt_torque ...")
@click.option("--name", required=True, help="Name of the chart; the same name again makes its next version.")
@click.option("--title", required=True, help="Title of the book.")
@click.option("--edition", required=True, help="Edition of the book.")
@click.option("--page", required=True, help="Page of the book.")
@click.option("--entered-by", required=True, help="Who entered the rows.")
@click.option("--checked-by", required=True, help="Who checked them against the book.")
@click.option("--accept-unusual", metavar="REASON", help="Why rows may stand that differ much from the built-in table.")
@with_settings
def import_chart(settings: Settings, file: str, site: str, accept_unusual: str | None, **given: str) -> None:
    """Enter the chart in the CSV FILE; units stand in the names of its columns."""
    from pathlib import Path

    from service.api.books.loading import LOAD_CHART
    from service.store.database import Database
    from service.use_cases.books.import_chart import fault_lines
    from service.use_cases.books.import_chart import import_chart as enter

    try:
        data = Path(file).read_bytes()
        row = enter(Database(settings), site, data, given, load=LOAD_CHART, accept_unusual=accept_unusual)
    except ServiceError as error:
        for line in fault_lines(error.facts.get("faults", [])):
            click.echo(line, err=True)
        raise
    rows = row.document["rows"]
    accepted = sum(1 for each in rows if each.get("accept_unusual"))
    told = f", {accepted} of them accepted as unusual" if accepted else ""
    click.echo(f"Chart {row.name} ({row.kind}) of {site} has version {row.version} now: {len(rows)} rows{told}.")


@main.command()
@click.argument("file", type=click.Path(dir_okay=False))
@click.option("--force", is_flag=True, help="Overwrite FILE.")
@with_settings
def backup(settings: Settings, file: str, force: bool) -> None:
    """Write the embedded database to FILE while it is in use, and verify the copy.

    PostgreSQL is backed up with pg_dump.
    """
    from pathlib import Path

    from service.use_cases.checks.backup import back_up

    found = back_up(settings, Path(file), force=force)
    tell_audit(found)
    click.echo(f"The backup is in {file}.")


@main.command()
@click.argument("file", type=click.Path(dir_okay=False))
@click.option("--force", is_flag=True, help="Overwrite the database; the service must be stopped.")
@with_settings
def restore(settings: Settings, file: str, force: bool) -> None:
    """Put the backup FILE in the place of the embedded database, after verifying it."""
    from pathlib import Path

    from service.use_cases.checks import backup

    secret_made = settings.secret_path is not None and not settings.secret_path.exists()
    found = backup.restore(settings, Path(file), force=force)
    tell_audit(found)
    require_secret(settings)
    if secret_made:
        click.echo("Its secret file was not there: links to cards that were made before open nothing any more.")
    tell_sealing(settings)
    click.echo(f"The database {backup.database_file(settings)} is restored from {file}.")


@main.command("import")
@click.argument("file", type=click.Path(exists=True, dir_okay=False))
@click.option("--site", required=True, help="Code of the site.")
@click.option("--zone", help="IANA time zone of times without an offset, such as Europe/Stockholm.")
@click.option("--profile", help="How the sheet is read: the name of a profile of the site, or a file ending in .json.")
@click.option("--create-assets", is_flag=True, help="Register assets that are missing.")
@click.option("--accept-unknown", is_flag=True, help="Take designations that nobody here can read as they are.")
@click.option("--dry-run", is_flag=True, help="Check everything, store nothing.")
@with_settings
def import_history(settings: Settings, file: str, site: str, profile: str | None, **given: Any) -> None:
    """Import the stays in FILE (.csv, .json or .ndjson), all or nothing; the same file again changes nothing."""
    from pathlib import Path

    from service.store.database import Database
    from service.use_cases.stays.files import count_lines, import_file, report_lines

    try:
        done = import_file(Database(settings), site, Path(file), profile=_profile(profile), **given)
    except ServiceError as error:
        for line in report_lines(error.facts.get("report", [])):
            click.echo(line, err=True)
        for line in count_lines(error.facts.get("counts", [])):
            click.echo(line, err=True)
        raise
    for line in report_lines(done.record()["notes"]):
        click.echo(f"note: {line}", err=True)
    dry_run = given["dry_run"]
    would = "would be" if dry_run else "are"
    click.echo(
        f"{done.created} of {done.rows} stays {would} new, {done.unchanged} were on record as they are, "
        f"{done.closed} that ran {'would end' if dry_run else 'ended'}."
    )


def _profile(named: str | None) -> Any:
    """Return the profile of a file, or the name of one of the site."""
    from service.use_cases.stays.profile import NONE, profile_of
    from service.use_cases.stays.profiles import check_profile

    if named is None or not named.endswith(".json"):
        return named or NONE
    given = _profile_document(named)
    check_profile(given)
    return profile_of(given)


def _profile_document(file: str) -> dict[str, Any]:
    from pathlib import Path

    from service.api.stays.profiles.loading import LOAD_PROFILE
    from service.errors import CannotEvaluate
    from service.exchange.strict_json import NotStrictJSON, parsed

    try:
        return LOAD_PROFILE(parsed(Path(file).read_bytes()))
    except (OSError, NotStrictJSON) as error:
        raise CannotEvaluate(f"{file} cannot be read: {error}", field="profile") from None


@main.group()
def profiles() -> None:
    """How the sheets of a site are read by an import."""


@profiles.command("try")
@click.argument("file", type=click.Path(exists=True, dir_okay=False))
@click.option("--name", default="sheet", show_default=True, help="Name of the profile that is proposed.")
def try_profile(file: str, name: str) -> None:
    """Propose a profile for the sheet in FILE, by its first rows: JSON on stdout, questions on stderr."""
    import json
    from pathlib import Path

    from service.use_cases.stays.propose import proposed

    try:
        found = proposed(Path(file).read_bytes(), name)
    except ServiceError as error:
        raise click.ClickException(str(error)) from None
    for question in found.questions:
        click.echo(f"to settle: {question}", err=True)
    click.echo(json.dumps(found.profile, indent=2, ensure_ascii=False))


@profiles.command("save")
@click.argument("file", type=click.Path(exists=True, dir_okay=False))
@click.option("--site", required=True, help="Code of the site.")
@with_settings
def save_profile(settings: Settings, file: str, site: str) -> None:
    """Store the profile in FILE (.json) as the next version of its name."""
    from service.store.database import Database
    from service.use_cases.stays.files import enter_profile_file

    name, version = enter_profile_file(Database(settings), site, _profile_document(file))
    click.echo(f"Profile {name}, version {version}, is in force at {site}.")


@main.command("export")
@click.argument("file", type=click.Path(dir_okay=False, writable=True))
@click.option("--site", required=True, help="Code of the site.")
@with_settings
def export_history(settings: Settings, file: str, site: str) -> None:
    """Export all stays of a site to FILE (.csv or .ndjson); an import takes it as it is."""
    from pathlib import Path

    from service.store.database import Database
    from service.use_cases.stays.files import export_file

    rows = export_file(Database(settings), site, Path(file))
    click.echo(f"{rows} stays of {site} are in {file}.")


@main.command()
@with_settings
def check(settings: Settings) -> None:
    """Look at settings, schema, clock, tables, open orders; ends with 1 when the service should not run like this."""
    from service.store.database import Database
    from service.use_cases.checks.checking import checks

    database = Database(settings)
    failed = False
    for each in checks(database):
        failed = failed or each.state == "failed"
        click.echo(f"{each.state:<6} {each.subject}: {each.said}")
    database.dispose()
    if failed:
        sys.exit(1)


DAILY: Final = click.option("--daily", is_flag=True, help="Do it now and every 24 hours, until interrupted.")


def _each_day(work: Callable[[], None], *, daily: bool) -> None:
    """Do something once, or now and every 24 hours until SIGTERM or SIGINT comes."""
    import logging
    import signal
    import threading

    if not daily:
        work()
        return
    stopping = threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: stopping.set())
    while not stopping.is_set():
        try:
            work()
        except ServiceError:  # the database is away for a while: tomorrow is another day
            logging.getLogger(__name__).exception("what is done daily was not done")
        stopping.wait(24 * 3600)


@main.command()
@DAILY
@with_settings
def tidy(settings: Settings, daily: bool) -> None:
    """Delete what is past its time: kept answers (7 days), ended deliveries (30 days), sessions of the desk."""
    from service.store.database import Database
    from service.use_cases.checks.retention import tidy as delete_old

    def work() -> None:
        database = Database(settings)
        done = delete_old(database)
        database.dispose()
        click.echo(f"{done.answers} kept answers, {done.deliveries} deliveries, {done.sessions} sessions are deleted.")

    _each_day(work, daily=daily)


@main.command()
@click.option("--site", help="Code of one site; all sites when left out.")
@DAILY
@with_settings
def watch(settings: Settings, site: str | None, daily: bool) -> None:
    """Look for positions, makers, crews, lubricants and batches that fail more than others; for a daily timer.

    What is found at an adjusted p of 0.005 becomes an event (position.flagged, group.flagged), once until it changes.
    """
    from service.store.database import Database
    from service.use_cases.lives.watch import watch as look

    def work() -> None:
        database = Database(settings)
        for one in look(database, site):
            for said in one.not_answered:
                click.echo(f"{one.site_code}: not answered, {said}", err=True)
            standing = f"{one.standing['position']} positions and {one.standing['group']} groups are flagged"
            click.echo(f"{one.site_code}: {standing}; {one.told} told now, {one.ended} ended.")
        database.dispose()

    _each_day(work, daily=daily)


main.add_command(audit)
main.add_command(secret)


@main.group()
def verify() -> None:
    """Checks of what is on record."""


@verify.command("revisions")
@click.option("--site", help="Code of one site; all sites when left out.")
@with_settings
def verify_stored_revisions(settings: Settings, site: str | None) -> None:
    """Compute the instructions again from their inputs and name the first that differ.

    Those of another engine or of other tables are counted by what made them and only held against their hash.
    """
    from service.store.database import Database
    from service.use_cases.checks.verification import verify_revisions

    differs = False
    for found in verify_revisions(Database(settings), site):
        differs = differs or found.different is not None
        told = "all agree" if found.different is None else f"{found.different}: {found.reason}"
        hashed = "".join(f", {count} {made} (hash only)" for made, count in sorted(found.elsewhere.items()))
        click.echo(f"{found.site_code}: {found.computed} computed again{hashed}; {told}")
    if differs:
        sys.exit(1)


if __name__ == "__main__":
    main()

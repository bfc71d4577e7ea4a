"""capsaddle audit: the journals and the record, verified, anchored outside, taken anew into the chain."""

import sys
import time
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from service.commands.running import with_settings
from service.settings import Settings

if TYPE_CHECKING:
    from service.use_cases.checks.audit import Told

_FILE = click.Path(dir_okay=False, path_type=Path)
_FOLDER = click.Path(exists=True, file_okay=False, path_type=Path)


@click.group()
def audit() -> None:
    """The journal of all changes, and the record that it proves."""


@audit.command("verify")
@click.option("--site", help="Code of one site; all sites when left out.")
@click.option("--anchor", "anchors", multiple=True, type=_FILE, help="File of signed ends that the journals must hold.")
@click.option("--public-key", help="Public half of the key that signed them, in base64; else that of our own key.")
@with_settings
def verify_audit(settings: Settings, site: str | None, anchors: tuple[Path, ...], public_key: str | None) -> None:
    """Follow the hash chains, hold every row of every table against them, and name all that is wrong.

    With --anchor it is also proven that each journal goes on from the end that was signed once.
    """
    from service.store.database import Database
    from service.use_cases.checks import anchors as signed
    from service.use_cases.checks.audit import audit as audited

    heads = []
    if anchors:
        heads = signed.read_anchors(anchors, public_key or signed.public_key_of(_signing_key(settings)))
    if not tell_audit(audited(Database(settings), site, heads)):
        sys.exit(1)


def tell_audit(told: "Iterable[Told]") -> bool:
    """Print what a verification finds as it comes; return whether nothing is wrong."""
    from service.use_cases.checks.audit import Audited, Fault

    whole = True
    for each in told:
        if isinstance(each, Audited):
            held = f", {each.heads} anchored ends held" if each.heads else ""
            said = "whole" if not each.faults else f"{each.faults} faults"
            click.echo(
                f"{each.site_code}: {each.journal_rows} rows of the journal, {each.rows} of tables{held}, {said}"
            )
            if each.baseline is not None:
                click.echo(f"{each.site_code}: the rows were taken as they stood by {each.baseline}")
        elif isinstance(each, Fault):
            whole = False
            click.echo(f"{each.site_code}: {each.table} {each.key}: {each.what}")
        else:
            click.echo(f"{each.site_code}: {each.rows} rows so far, in {each.table}", err=True)
    return whole


@audit.command("head")
@click.option("--site", help="Code of one site; all sites when left out.")
@with_settings
def print_heads(settings: Settings, site: str | None) -> None:
    """Print number, hash and time of the end of each journal, signed; to be kept where this machine cannot write."""
    from service.store.database import Database
    from service.use_cases.checks.anchors import heads

    for head in heads(Database(settings), _signing_key(settings), site):
        click.echo(head.line())


@audit.command("anchor")
@click.option("--to", "folder", required=True, type=_FOLDER, help="Folder that takes a new file each time.")
@click.option("--every", type=click.FloatRange(1 / 60, 8_760), help="Go on until interrupted, each so many hours.")
@with_settings
def anchor_heads(settings: Settings, folder: Path, every: float | None) -> None:
    """Write the signed ends into a file of the folder, and tell each site's subscribers (record.anchored)."""
    from service.store.database import Database
    from service.use_cases.checks.anchors import anchor

    database = Database(settings)
    while True:
        file = anchor(database, _signing_key(settings), folder)
        click.echo(f"The ends are in {file}." if file else "Nothing is new since the last anchor.")
        if every is None:
            return
        time.sleep(every * 3600)


@audit.command("key")
@with_settings
def make_signing_key(settings: Settings) -> None:
    """Make the key that signs anchors, in CAPSADDLE_SIGNING_KEY_FILE, and print its public half."""
    from service.use_cases.checks.anchors import make_key

    file = _signing_key(settings)
    public = make_key(file)
    click.echo(f"The key is in {file}; keep its public half elsewhere:", err=True)
    click.echo(public)


@audit.command("baseline")
@click.option("--site", required=True, help="Code of the site.")
@click.option("--reason", required=True, help="Why the rows are taken as they are; kept in the journal.")
@with_settings
def take_baseline(settings: Settings, site: str, reason: str) -> None:
    """Take all rows of a site into the chain as they are, after telling what of them the chain does not bear out.

    For the time after an upgrade during which processes of the version before still wrote.
    """
    from service.store.database import Database
    from service.use_cases.checks.rebase import take_baseline as take

    told = take(Database(settings), site, reason)
    tell_audit(told.found)
    click.echo(f"{site}: a baseline is entered; {told.faults} faults before it stay on record there.")


def _signing_key(settings: Settings) -> Path:
    if settings.signing_key_path is None:
        raise click.ClickException("set CAPSADDLE_SIGNING_KEY_FILE to the file of the key that signs anchors")
    return settings.signing_key_path

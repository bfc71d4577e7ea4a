"""capsaddle sites list, capsaddle keys list: what there is, a line each, members apart by tabs; never a secret."""

import click

from service.commands.running import with_settings
from service.settings import Settings


@click.command("list")
@with_settings
def list_sites(settings: Settings) -> None:
    """List the sites: code, name, units, when they were made."""
    from service.store.database import Database
    from service.store.queries import sites as stored

    for site in stored.all_sites(Database(settings)):
        click.echo(f"{site.code}\t{site.name}\t{site.units}\t{site.created_at:%F}")


@click.command("list")
@click.option("--site", help="Code of one site; all sites when left out.")
@with_settings
def list_keys(settings: Settings, site: str | None) -> None:
    """List the keys: site, id, name, scopes, created, last used (to the hour), expires or revoked."""
    from service.store.database import Database
    from service.store.queries import keys as stored

    for key in stored.all_keys(Database(settings), site):
        used = "never" if key.last_used_at is None else f"{key.last_used_at:%FT%H:00Z}"
        ends = "-" if key.expires_at is None else f"{key.expires_at:%FT%TZ}"
        ends = ends if key.revoked_at is None else f"revoked {key.revoked_at:%FT%TZ}"
        shown = (key.site_code, key.id, key.label or "-", key.scopes, f"{key.created_at:%FT%TZ}", used, ends)
        click.echo("\t".join(shown))

"""capsaddle secret, and what commands see to before they need the secret outside the database."""

import click

from service.settings import Settings


@click.command("secret")
def secret() -> None:
    """Print a new line for CAPSADDLE_SECRET_FILE; put it first and keep the old one below until it is not needed."""
    from service.secret import new_line

    click.echo(new_line())


def require_secret(settings: Settings) -> None:
    """See that there is a secret outside the database; beside the embedded one it is made.

    Raises
    ------
    ClickException
        No file is named for PostgreSQL.
    SecretMissing
        The file cannot be used.
    """
    from service.secret import SecretMissing, make_secret, read_secret

    file = settings.secret_path
    if file is None:
        raise click.ClickException(
            "set CAPSADDLE_SECRET_FILE to a file outside the database that all processes can read; "
            "capsaddle secret makes its line: (umask 077; capsaddle secret > FILE)"
        )
    if settings.secret_file is None and not file.exists() and file.parent.is_dir():
        try:
            made = make_secret(file)
        except SecretMissing as error:  # a mount that takes no changes: questions are answered all the same
            click.echo(f"{error} Links to cards and webhooks do not work without it.", err=True)
            return
        if made:
            click.echo(f"The secret is in {file}; it belongs to this database and is in no backup of it.", err=True)
    if file.exists() or settings.secret_file is not None:
        read_secret(file)


def tell_unfinished(settings: Settings) -> None:
    """Say what waits until no process of the version before runs any more."""
    from service.store.database import Database
    from service.use_cases.checks.sealing import waiting

    database = Database(settings)
    found = waiting(database)
    database.dispose()
    if found:
        then = "when no process of the version before runs any more, capsaddle migrate --finish"
        click.echo(f"{' and '.join(found)}: {then}")


def tell_sealing(settings: Settings) -> None:
    """Bring the secrets of webhooks under the secret, and say what became of them."""
    from service.store.database import Database
    from service.use_cases.checks.sealing import seal_secrets

    database = Database(settings)
    done = seal_secrets(database)
    database.dispose()
    if done.sealed:
        click.echo(f"{done.sealed} secrets of webhooks are encrypted now.")
    for code, subscription in done.renewed:
        click.echo(
            f"{code}: the secret of subscription {subscription} could not be read and was set anew; it is disabled "
            "until its receiver has a new one (POST /v1/subscriptions/{id}/secret) and it is taken up again."
        )

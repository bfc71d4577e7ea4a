"""The secrets of webhooks brought under the secret that is set: sealed anew, or set anew where they cannot be read."""

from dataclasses import dataclass, field

import sqlalchemy as sa

from service.exchange.signing import new_secret
from service.secret import PLAIN, Sealed, Secret, SecretChanged
from service.store.database import Database
from service.store.identity import new_id
from service.store.models import Site, Subscription
from service.store.queries import subscriptions
from service.store.queries.sites import COMMAND_LINE
from service.store.queries.subscriptions import UNREADABLE, SubscriptionRow
from service.store.unit_of_work import Event, Tx, Written


@dataclass
class Sealing:
    """What was done: how many secrets were sealed, and whose were set anew, by site code and subscription."""

    sealed: int = 0
    renewed: list[tuple[str, str]] = field(default_factory=list)


def waiting(database: Database) -> list[str]:
    """Return what still stands as the version before needs it, each as the beginning of a sentence."""
    found = []
    plain = sa.select(sa.func.count()).select_from(Subscription).where(Subscription.secret.startswith(PLAIN))
    policy = "SELECT count(*) FROM pg_policies WHERE tablename = 'api_keys' AND policyname = 'read_before_site'"
    with database.reading() as connection:
        if count := connection.execute(plain).scalar_one():
            found.append(f"{count} secrets of webhooks stand plain")
        if not database.settings.on_sqlite and connection.exec_driver_sql(policy).scalar_one():
            found.append("hashes of keys can be read before their site is known")
    return found


def seal_secrets(database: Database) -> Sealing:
    """Seal what stands plain or under an old line; what cannot be read is set anew, and its subscription is disabled.

    Raises
    ------
    SecretMissing
        There is no secret to seal with.
    """
    done = Sealing()
    with database.reading() as connection:
        own = Subscription
        wanted = sa.select(Site.code, own.site_id, own.id).join_from(own, Site, Site.id == own.site_id)
        rows = connection.execute(wanted.order_by(Site.code, own.id)).all()
    for code, site_id, subscription_id in rows:
        outcome: list[str] = []

        def work(tx: Tx, subscription_id: str = subscription_id, outcome: list[str] = outcome) -> Written:
            row = subscriptions.subscription_by_id(tx, subscription_id)
            events = () if row is None else _sealed(tx, row, database.secret, outcome)
            return Written(200, "", events=events)

        database.write(site_id=site_id, actor=COMMAND_LINE, request_id=new_id(), work=work)
        done.sealed += "sealed" in outcome
        if "renewed" in outcome:
            done.renewed.append((code, subscription_id))
    return done


def _again(secret: Secret, before: Sealed) -> Sealed | None:
    """Return a secret under the line in use; None for one that served before and cannot be read."""
    try:
        return secret.seal(secret.open(before))
    except SecretChanged:
        return None


def _sealed(tx: Tx, row: SubscriptionRow, secret: Secret, outcome: list[str]) -> tuple[Event, ...]:
    """Bring one subscription under the secret; return what is told of it."""
    members: dict[str, object] = {}
    try:
        secret.open(row.secret)
    except SecretChanged:
        outcome[:] = ["renewed"]
        members = {"secret": secret.seal(new_secret()), "previous_secret": None, "previous_until": None}
        members |= {"status": "disabled", "status_reason": UNREADABLE}
    else:
        for name in ("secret", "previous_secret"):
            before = getattr(row, name)
            if before is not None and not secret.is_current(before):
                members[name] = _again(secret, before)
        outcome[:] = ["sealed"] if members else []
    if not members:
        return ()
    subscriptions.change_subscription(tx, row, **members)
    name = "subscription.disabled" if outcome == ["renewed"] else "subscription.secret_sealed"
    return (Event(name, "subscription", row.id, data={"reason": UNREADABLE} if outcome == ["renewed"] else {}),)

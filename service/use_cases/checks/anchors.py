"""Anchors: the ends of the journals, signed with a key that is not in the database, to be kept elsewhere.

One line of JSON a site. Whoever can write the whole database can compute a whole chain anew; it does not go on from an
end that was signed before.
"""

import base64
import json
import os
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

import sqlalchemy as sa

from service.errors import ServiceError
from service.moments import rfc3339
from service.store.database import Database
from service.store.identity import new_id
from service.store.models import JournalEntry, Site, SiteHead
from service.store.queries.sites import COMMAND_LINE
from service.store.unit_of_work import Event, Tx, Written

ANCHORED: Final = "record.anchored"
OWNER_ONLY: Final = 0o600
_SIGNED: Final = "capsaddle head 1\n"
_MEMBERS: Final = ("at", "hash", "seq", "site_code", "site_id", "signed_at")


class AnchorRefused(ServiceError):
    """An anchor or its key cannot be read, or its signature does not hold."""

    code = "anchor_refused"


@dataclass(frozen=True, slots=True)
class Head:
    """The end of a journal: number, hash and time of its last row, when it was signed, and by which key."""

    site_id: str
    site_code: str
    seq: int
    hash: str
    at: str | None
    signed_at: str
    public_key: str = ""
    signature: str = ""

    def text(self) -> bytes:
        """Return what is signed."""
        members = {name: value for name, value in asdict(self).items() if name in _MEMBERS}
        return (_SIGNED + json.dumps(members, sort_keys=True, separators=(",", ":"), ensure_ascii=False)).encode()

    def line(self) -> str:
        """Return the line of an anchor."""
        return json.dumps(asdict(self), sort_keys=True, ensure_ascii=False)


def heads(database: Database, key_file: Path, site_code: str | None = None) -> list[Head]:
    """Return the end of each site's journal (or of one), signed.

    Raises
    ------
    AnchorRefused
        There is no key to sign with.
    """
    key = _private_key(key_file)
    public = _text(key.public_key().public_bytes_raw())
    last = (JournalEntry.site_id == SiteHead.site_id) & (JournalEntry.seq == SiteHead.seq)
    wanted = sa.select(Site.id, Site.code, SiteHead.seq, SiteHead.head_hash, JournalEntry.at)
    wanted = wanted.join_from(Site, SiteHead, SiteHead.site_id == Site.id).outerjoin(JournalEntry, last)
    if site_code is not None:
        wanted = wanted.where(Site.code == site_code)
    with database.reading(snapshot=True) as connection:
        rows = connection.execute(wanted.order_by(Site.code)).all()
    now = rfc3339(datetime.now(UTC))
    found = []
    for site_id, code, seq, digest, at in rows:
        head = Head(site_id, code, seq, digest, None if at is None else rfc3339(at), now, public)
        found.append(Head(**{**asdict(head), "signature": _text(key.sign(head.text()))}))
    return found


def anchor(database: Database, key_file: Path, folder: Path) -> Path | None:
    """Write the signed ends into a new file of the folder and tell each site's subscribers; None: nothing is new.

    An end that is itself only the telling of an anchor is not anchored again.

    Raises
    ------
    AnchorRefused
        There is no key, or the folder cannot be written.
    """
    told = sa.select(SiteHead.site_id).join(
        JournalEntry, (JournalEntry.site_id == SiteHead.site_id) & (JournalEntry.seq == SiteHead.seq)
    )
    with database.reading() as connection:
        still = set(connection.execute(told.where(JournalEntry.event_type == ANCHORED)).scalars())
    found = heads(database, key_file)
    new = [head for head in found if head.site_id not in still]
    if not new:
        return None
    file = folder / f"anchor-{datetime.now(UTC):%Y%m%dT%H%M%S%fZ}.jsonl"
    _write_new(file, "".join(f"{head.line()}\n" for head in found))
    for head in new:
        event = Event(ANCHORED, "site", head.site_id, data=asdict(head))

        def work(_tx: Tx, event: Event = event) -> Written:
            return Written(200, "", events=(event,))

        database.write(site_id=head.site_id, actor=COMMAND_LINE, request_id=new_id(), work=work)
    return file


def read_anchors(files: Iterable[Path], public_key: str) -> list[Head]:
    """Return the heads in files of anchors, each with a signature that holds under the key.

    Raises
    ------
    AnchorRefused
        A file cannot be read, holds something else, or a signature does not hold.
    """
    found = []
    for file in files:
        try:
            lines = file.read_text(encoding="utf-8").splitlines()
        except (OSError, UnicodeDecodeError) as error:
            raise AnchorRefused(f"{file} cannot be read as text") from error
        numbered = [(number, line) for number, line in enumerate(lines, start=1) if line.strip()]
        if not numbered:
            raise AnchorRefused(f"{file} holds no anchor")
        found += [_head(line, f"{file}, line {number}", public_key) for number, line in numbered]
    return found


def _head(line: str, where: str, public_key: str) -> Head:
    """Return the head of a line, whose signature holds."""
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    try:
        members: dict[str, Any] = json.loads(line)
        head = Head(**{name: members[name] for name in Head.__dataclass_fields__})
    except (ValueError, TypeError, KeyError) as error:
        raise AnchorRefused(f"{where} is no anchor") from error
    if head.public_key != public_key:
        raise AnchorRefused(f"{where} was signed with another key than {public_key}")
    try:
        key = Ed25519PublicKey.from_public_bytes(base64.b64decode(public_key, validate=True))
        key.verify(base64.b64decode(head.signature, validate=True), head.text())
    except (InvalidSignature, ValueError) as error:
        raise AnchorRefused(f"{where}: the signature does not hold") from error
    return head


def make_key(file: Path) -> str:
    """Make a key to sign with, for its owner alone to read, and return its public half.

    Raises
    ------
    AnchorRefused
        The file is there already, or cannot be written.
    """
    from cryptography.hazmat.primitives import serialization
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    key = Ed25519PrivateKey.generate()
    plain = serialization.NoEncryption()
    pem = key.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, plain)
    _write_new(file, pem.decode())
    return _text(key.public_key().public_bytes_raw())


def public_key_of(file: Path) -> str:
    """Return the public half of a key, in base64.

    Raises
    ------
    AnchorRefused
        The file cannot be read, or holds no key.
    """
    return _text(_private_key(file).public_key().public_bytes_raw())


def _private_key(file: Path) -> Any:
    from cryptography.hazmat.primitives import serialization
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    try:
        key = serialization.load_pem_private_key(file.read_bytes(), password=None)
    except OSError as error:
        raise AnchorRefused(f"there is no key {file} to sign with: capsaddle audit key makes it") from error
    except (ValueError, TypeError) as error:
        raise AnchorRefused(f"{file} holds no private key") from error
    if not isinstance(key, Ed25519PrivateKey):
        raise AnchorRefused(f"{file} holds a key of another kind than Ed25519")
    return key


def _write_new(file: Path, text: str) -> None:
    """Write a file that was not there, for its owner alone, and have it on the disk."""
    try:
        handle = os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, OWNER_ONLY)
    except OSError as error:
        raise AnchorRefused(f"{file} cannot be made: {error.strerror}") from error
    with os.fdopen(handle, "w", encoding="utf-8") as opened:
        opened.write(text)
        opened.flush()
        os.fsync(opened.fileno())


def _text(data: bytes) -> str:
    return base64.b64encode(data).decode()

"""The secret outside the database: what signs links to cards and encrypts the secrets of webhooks and kept answers.

A file of one line, or two while it is being changed: the first line signs and encrypts, each line is good for reading.
A line is 32 random bytes in base64; what signs and what encrypts are derived from it apart, so that neither tells of
the other.
"""

import base64
import hmac
import os
import secrets
from contextlib import suppress
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any, Final, NewType

from service.errors import Busy

Sealed = NewType("Sealed", str)
"""A text that only the secret file opens"""
BYTES: Final = 32
MOST_LINES: Final = 8
OWNER_ONLY: Final = 0o600
PLAIN: Final = "whsec_"
"""How the secret of a webhook began where it was stored as it is, before version 0.2.0"""


class SecretMissing(Busy):
    """There is no secret, or its file cannot be used."""


class SecretChanged(SecretMissing):
    """Something was sealed with another secret than the one that is set."""


@dataclass(frozen=True)
class Secret:
    """The lines of the file as bytes, the one that is in use first."""

    lines: tuple[bytes, ...]

    def signers(self, of: bytes) -> tuple[bytes, ...]:
        """Return what signs on behalf of something, one for each line; the first signs, all are good."""
        return tuple(hmac.digest(line, b"signs links\n" + of, "sha256") for line in self.lines)

    def seal(self, text: str) -> Sealed:
        """Return the text encrypted and authenticated (Fernet)."""
        return Sealed(self._fernet.encrypt(text.encode()).decode())

    def open(self, sealed: str) -> str:
        """Return the text.

        Raises
        ------
        SecretChanged
            It was sealed with a line that is not in the file any more, or was altered.
        """
        from cryptography.fernet import InvalidToken

        if sealed.startswith(PLAIN):
            return sealed
        try:
            opened: bytes = self._fernet.decrypt(sealed.encode())
        except InvalidToken as error:
            raise SecretChanged("It was sealed with another secret than the one that is set now.") from error
        return opened.decode()

    def is_current(self, sealed: str) -> bool:
        """Return whether a text was sealed with the line that is in use."""
        try:
            return not sealed.startswith(PLAIN) and bool(Secret(self.lines[:1]).open(sealed))
        except SecretChanged:
            return False

    @cached_property
    def _fernet(self) -> Any:
        from cryptography.fernet import Fernet, MultiFernet

        keys = [hmac.digest(line, b"seals texts", "sha256") for line in self.lines]
        return MultiFernet([Fernet(base64.urlsafe_b64encode(key)) for key in keys])


def read_secret(file: Path) -> Secret:
    """Return the secret of a file.

    Raises
    ------
    SecretMissing
        It cannot be read, or holds something else than lines of 32 bytes in base64.
    """
    try:
        text = file.read_text(encoding="ascii")
    except (OSError, UnicodeDecodeError) as error:
        raise SecretMissing(f"The secret {file} cannot be read; its operator must see to it.") from error
    given = [line.strip() for line in text.splitlines() if line.strip()]
    try:
        lines = tuple(base64.urlsafe_b64decode(line) for line in given)
    except ValueError:
        lines = ()
    if not 0 < len(lines) <= MOST_LINES or any(len(line) != BYTES for line in lines):
        said = f"The secret {file} holds something else than 1 to {MOST_LINES} lines of {BYTES} bytes in base64."
        raise SecretMissing(said)
    return Secret(lines)


def new_line() -> str:
    """Return a line for the file."""
    return base64.urlsafe_b64encode(secrets.token_bytes(BYTES)).decode()


def make_secret(file: Path) -> bool:
    """Make the file with one line, for its owner alone to read; False when it is there already.

    Raises
    ------
    SecretMissing
        It cannot be written.
    """
    part = file.with_name(f"{file.name}.{os.getpid()}.{secrets.token_hex(4)}.part")
    try:
        handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, OWNER_ONLY)
        with os.fdopen(handle, "w", encoding="ascii") as opened:
            opened.write(new_line() + "\n")
            opened.flush()
            os.fsync(opened.fileno())
        os.link(part, file)  # whole or not at all, and never over one that is there
    except FileExistsError:
        return False
    except OSError as error:
        raise SecretMissing(f"The secret {file} cannot be made: {error.strerror}.") from error
    finally:
        with suppress(OSError):  # on a file system that takes no changes it was never made
            part.unlink()
    return True

"""The manifest beside a backup: length and SHA-256 of its file, and of itself; a flipped bit in either is found."""

import hashlib
import json
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from service import __version__
from service.moments import rfc3339

SUFFIX: Final = ".manifest"
AT_ONCE: Final = 1 << 20


class NotWhole(Exception):
    """The manifest is missing or damaged, or the file is not the one that it was made of; the sentence says which."""


@dataclass(frozen=True, slots=True)
class Manifest:
    """What a backup was when it was made; ``size_bytes`` in [byte]."""

    made_at: str
    made_by: str
    schema: str
    size_bytes: int
    sha256: str

    @property
    def text(self) -> str:
        """Return the file: the members on one line, and the SHA-256 of that line on the next."""
        line = json.dumps(asdict(self), sort_keys=True)
        return f"{line}\n{hashlib.sha256(line.encode()).hexdigest()}\n"


def manifest_file(file: Path) -> Path:
    """Return where the manifest of a backup lies."""
    return file.with_name(file.name + SUFFIX)


def manifest_of(file: Path, *, schema: str) -> Manifest:
    """Return the manifest of a file as it is now."""
    size_bytes, sha256 = _measured(file)
    return Manifest(rfc3339(datetime.now(UTC)), f"capsaddle {__version__}", schema, size_bytes, sha256)


def refuse_damaged(file: Path) -> Manifest:
    """Return the manifest of a backup that is bit for bit what it was.

    Raises
    ------
    NotWhole
    """
    beside = manifest_file(file)
    try:
        data = beside.read_bytes()
    except FileNotFoundError:
        raise NotWhole(f"there is no {beside}; a backup is restored with the manifest that was made with it") from None
    except OSError as error:
        raise NotWhole(f"{beside} cannot be read: {error.strerror}") from error
    line, _, digest = data.partition(b"\n")
    if digest != hashlib.sha256(line).hexdigest().encode() + b"\n":
        raise NotWhole(f"{beside} is damaged")
    try:
        found = Manifest(**json.loads(line))
    except (ValueError, TypeError) as error:
        raise NotWhole(f"{beside} is no manifest of a backup") from error
    size_bytes, sha256 = _measured(file)
    if size_bytes != found.size_bytes:
        raise NotWhole(f"{file} has {size_bytes} bytes, not the {found.size_bytes} of its manifest")
    if sha256 != found.sha256:
        raise NotWhole(f"{file} is not what its manifest says: a bit of it was changed")
    return found


def _measured(file: Path) -> tuple[int, str]:
    digest, size_bytes = hashlib.sha256(), 0
    with file.open("rb") as opened:
        while part := opened.read(AT_ONCE):
            digest.update(part)
            size_bytes += len(part)
    return size_bytes, digest.hexdigest()

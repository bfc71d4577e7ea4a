"""The files of photos: in a folder beside the database, a folder a site, each named by the SHA-256 of its bytes."""

import os
import tempfile
from hashlib import sha256
from pathlib import Path
from typing import Final

SUFFIX: Final = ".jpg"
OWNER_ONLY: Final = 0o600


def kept(folder: Path, site_id: str, data: bytes) -> str:
    """Keep the bytes of a photo and return their hash; the same bytes are one file.

    The file is whole on the disk before its row is written: what is left without a row harms nobody.
    """
    digest = sha256(data).hexdigest()
    path = path_of(folder, site_id, digest)
    if path.exists():
        return digest
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(prefix=".photo-", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        Path(name).chmod(OWNER_ONLY)
        os.replace(name, path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
    return digest


def path_of(folder: Path, site_id: str, digest: str) -> Path:
    """Return where a photo lies."""
    return folder / site_id / digest[:2] / f"{digest}{SUFFIX}"


def read(folder: Path, site_id: str, digest: str) -> bytes | None:
    """Return the bytes of a photo; None where its file is gone or is not what was stored."""
    try:
        data = path_of(folder, site_id, digest).read_bytes()
    except OSError:
        return None
    return data if sha256(data).hexdigest() == digest else None

"""Texts that look alike, told by the form that they share.

The rule and the data are those of an open standard; nothing of it is guessed.

Source
------
Unicode Technical Standard #39, Unicode Security Mechanisms, version 15.0.0, section 4, data file confusables.txt
"""

import unicodedata
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Final

TABLE: Final = Path(__file__).parent / "data" / "confusables.txt"


def skeleton(text: str) -> str:
    """Return the text that all texts share which look like this one (UTS #39, section 4); it is not for display."""
    replaced = unicodedata.normalize("NFD", text).translate(_prototypes())
    return unicodedata.normalize("NFD", replaced)


@cache
def _prototypes() -> Mapping[int, str]:
    """Return what each character looks like; read when it is first needed."""
    rows = (line.split(";") for line in TABLE.read_text(encoding="utf-8").splitlines() if not line.startswith("#"))
    return {int(source, 16): "".join(chr(int(each, 16)) for each in target.split()) for source, target in rows}

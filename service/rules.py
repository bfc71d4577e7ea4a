"""The rules by id: the one list, which code, steps, pages and tests hold their ids against."""

import tomllib
from collections.abc import Mapping
from functools import cache
from importlib.resources import files


@cache
def rules() -> Mapping[str, Mapping[str, str]]:
    """Return title and text of each rule by its id: C clearance, A arrangement, B bolting, I instructions, H history.

    The texts stand beside the pages that show them; only the data are read here, nothing of the pages is imported.
    """
    path = files("service") / "render" / "docs" / "data" / "rules.toml"
    return tomllib.loads(path.read_text(encoding="utf-8"))

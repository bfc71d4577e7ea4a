"""The list of addresses in the docs, held against the contract."""

import json
import re
from pathlib import Path

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "service" / "render" / "docs" / "pages" / "addresses.md"
_PART = re.compile(r"\{[^}]*\}")


def plain(address: str) -> str:
    """An address without method, query and the names of its parts: /v1/work-orders/{}/readings."""
    bare = address.split(" ")[-1].split("?")[0].rstrip("`,")
    return _PART.sub("{}", bare)


def is_listed(path: str, listed: set[str]) -> bool:
    """A path is listed itself, by its end behind "...", or as one thing of a list that is."""
    ends = tuple(each.removeprefix("...") for each in listed if each.startswith("..."))
    bare = plain(path)
    return any(each in listed or each.endswith(ends) for each in (bare, bare.removesuffix("/{}")))


def test_every_path_of_the_contract_stands_in_the_list_of_addresses() -> None:
    paths = json.loads((ROOT / "openapi" / "openapi.json").read_text(encoding="utf-8"))["paths"]
    listed = {plain(span) for span in re.findall(r"`([^`]+)`", PAGE.read_text(encoding="utf-8")) if "/" in span}
    lacking = [path for path in paths if not is_listed(path, listed)]
    assert not lacking, "\n".join(f"{PAGE.relative_to(ROOT)} must gain a row that names `{path}`" for path in lacking)
    known = {plain(path) for path in paths}
    wrong = [each for each in listed if each.startswith("/v1/") and each not in known]
    assert not wrong, f"{PAGE.relative_to(ROOT)} names {wrong}, which the contract does not have"

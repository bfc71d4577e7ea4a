"""The annex of the card: every figure of the plan that its strips do not hold, under a name that says what it is."""

from collections.abc import Iterator, Mapping
from functools import lru_cache
from typing import Any, Final

from service.render.card.plain_text import BOUND, Writer
from service.render.card.strips import base_bolt_lines, bolting_lines, support_lines, target_lines
from service.units import Quantity
from service.words import UnitSystem

Path = tuple[str, ...]
_FINDINGS: Final = ("missing", "blocked", "warnings", "sources", "position", "name")
_TOLD: Final[frozenset[Path]] = frozenset(
    (("role",), ("locating_rings", "count"), ("bolt", "count"), ("count",), ("stages", "percent"))
)
"""Told by every strip, in other words or with other figures beside them."""
LABELS: Final[Mapping[Path, str]] = {
    ("reduction", "band_in_print"): "reduction as competing handbooks print it",
    ("axial_displacement", "elastic"): "axial displacement by elastic theory",
    ("fit", "interference"): "interference left in the fit",
    ("fit", "interference_needed"): "interference needed",
    ("fit", "contact_pressure"): "contact pressure",
    ("fit", "bore_hoop_stress"): "hoop stress in the bore",
    ("held_force",): "force in the shaft if both ends were held (upper bound)",
    ("slip_force",): "axial force at which a sleeve slips on a plain shaft (about)",
    ("travel", "needed"): "travel needed, growth and reserve",
    ("travel", "available"): "travel available at this setting",
    ("travel", "limited_by"): "travel is limited by the",
    ("expansion", "heat_up"): "moves while heating up, base still cold",
    ("expansion", "cool_down"): "moves while cooling down, base still hot",
    ("expansion", "governed_by"): "moves furthest in",
    ("expansion", "gaps", "cold"): "gaps cold",
    ("expansion", "gaps", "service"): "gaps in service",
    ("expansion", "gaps", "heat_up"): "gaps heating up",
    ("expansion", "gaps", "cool_down"): "gaps cooling down",
    ("expansion", "setting_gap"): "gap to leave at the shoulder",
    ("expansion", "setting_gap", "side"): "that gap is on the side",
    ("direction",): "moves when hot to the side",
    ("expansion", "setting_correction", "per_10_k"): "set further out for each 10 K of warmer shaft by",
    ("expansion", "setting_correction", "direction"): "further out is",
    ("expansion", "setting_correction", "correction"): "allowed for a warmer shaft",
    ("decision", "facts", "distance_to_drive"): "distance to the drive",
    ("decision", "facts", "locating"): "held",
    ("decision", "would_change"): "another decision",
    ("nut_factor",): "nut factor K",
    ("nut_factor", "nominal"): "nut factor K, usual",
    ("nut_factor", "state"): "threads",
    ("preload",): "preload of a bolt",
    ("preload", "nominal"): "preload of a bolt, usual",
    ("share_of_proof",): "share of proof load",
    ("share_of_proof_band",): "share of proof load, band",
}
"""What figures are called where the name of their member would not say it."""


def annex(plan: Mapping[str, Any], *, units: UnitSystem) -> Iterator[tuple[str, tuple[Any, ...]]]:
    """Yield what no strip says as (whose it is, the figures), those of several positions that are alike together.

    Parameters
    ----------
    units : str
        The unit system of the card; what is left out was printed in it.
    """
    writer = Writer(units=units, width=1000, ascii_only=False)
    named: dict[tuple[str, tuple[Any, ...]], list[str]] = {}
    for title, name, record, strip in _records(writer, plan):
        named.setdefault((title, figures(writer, record, strip)), []).append(name)
    for (title, found), names in named.items():
        if found:
            yield f"{title} {', '.join(names)}", found


def _records(writer: Writer, plan: Mapping[str, Any]) -> Iterator[tuple[str, str, Mapping[str, Any], list[str]]]:
    """Yield every record of the plan with its title, its name and the lines of its strip."""
    for each in plan["targets"]:
        yield "Bearing", each["position"], each, target_lines(writer, each)
    arrangement = plan["arrangement"]
    if arrangement is not None:
        held = [support["name"] for support in arrangement["supports"] if support["role"] == "locating"]
        for each in arrangement["supports"]:
            yield "Support", each["name"], each, support_lines(writer, each, held[0] if len(held) == 1 else None)
        yield "Shaft", plan["shaft"], {name: value for name, value in arrangement.items() if name != "supports"}, []
    for each in plan["bolting"]:
        yield "Cap bolts", each["position"], each, bolting_lines(writer, each)
    for each in plan["base_bolts"]:
        yield "Base bolts", each["position"], each, base_bolt_lines(writer, each)


def figures(writer: Writer, record: Mapping[str, Any], strip: list[str]) -> tuple[Any, ...]:
    """Return every value of a record that its strip does not hold, as one text; empty when it holds all.

    Parameters
    ----------
    strip : list of str
        The lines of the record's strip, as ``card_strips`` writes them.
    """
    printed = _plain(" ".join(strip))
    pieces: list[Any] = []
    before = None
    own = {key: each for key, each in record.items() if key not in _FINDINGS}
    found = list(_values(own))
    values = [each for each in found if not _is_source(each[0])]
    cited = dict.fromkeys(value for path, value in found if _is_source(path))
    for path, value in [*values, *((("from",), each) for each in cited)]:
        if path not in _TOLD and (_is_number(value) or _plain(writer.words(_spoken(value))) not in printed):
            label = _label(path)
            lead = f"{'; ' if pieces else ''}{label}: " if label != before else ", "
            pieces += [lead, *_said(value)]
            before = label
    return tuple(pieces)


@lru_cache(maxsize=1024)
def _label(path: Path) -> str:
    """Return the name of the longest beginning of a path that has one, and what follows it."""
    for end in range(len(path), 0, -1):
        if path[:end] in LABELS:
            return " ".join((LABELS[path[:end]], *(part.replace("_", " ") for part in path[end:])))
    return " ".join(part.replace("_", " ") for part in path)


def _is_source(path: Path) -> bool:
    return path[-1] in ("source", "floor_source")


def _is_number(value: Any) -> bool:
    return isinstance(value, float | int)


def _plain(text: str) -> str:
    return " ".join(text.replace(BOUND, " ").split())


def _spoken(value: Any) -> Any:
    return value.replace("_", " ") if isinstance(value, str) else value


def _said(value: Any, *, share: bool = False) -> tuple[Any, ...]:
    if isinstance(value, float | int):
        return (f"{value * 100:.3g} %" if share else f"{value:.4g}",)
    return value if isinstance(value, tuple) else (_spoken(value),)


def _values(node: Any, path: Path = ()) -> Iterator[tuple[Path, Any]]:
    """Yield the values below a node, a range as one; neither null nor yes and no."""
    if isinstance(node, dict):
        low, high = node.get("min"), node.get("max")
        both = low is not None and high is not None
        if both:
            share = path[-1:] == ("share_of_proof_band",)
            yield path, (*_said(low, share=share), " to ", *_said(high, share=share))
        for key, value in node.items():
            if not (both and key in ("min", "max")):
                yield from _values(value, (*path, key))
    elif isinstance(node, list):
        for value in node:
            yield from _values(value, path)
    elif isinstance(node, Quantity | str | tuple | float | int) and not isinstance(node, bool) and node != "":
        yield path, _said(node, share=True) if path == ("share_of_proof",) else node

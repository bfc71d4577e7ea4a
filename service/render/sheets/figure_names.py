"""What figures are called where the name of their member would not say it."""

from collections.abc import Mapping
from functools import lru_cache
from typing import Final

Path = tuple[str, ...]
NAMES: Final[Mapping[Path, str]] = {
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
    ("stop_limit",): "stop the machine at",
    ("room",): "room where it stands",
    ("blade_table", "rows", "rows"): "blade table, rows read",
    ("blade_table", "rows"): "blade table, leave",
    ("blade_table", "rows", "target"): "aim blade",
    ("blade_table", "rows", "must_pass"): "goes in",
    ("blade_table", "rows", "must_not_pass"): "must not go in",
}


@lru_cache(maxsize=1024)
def figure_name(path: Path) -> str:
    """Return the name of the longest beginning of a path that has one, and what follows it."""
    for end in range(len(path), 0, -1):
        if path[:end] in NAMES:
            return " ".join((NAMES[path[:end]], *(part.replace("_", " ") for part in path[end:])))
    return " ".join(part.replace("_", " ") for part in path)

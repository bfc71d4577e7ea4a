"""Materials of shafts and bases: thermal expansion with its band, elastic constants."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from service.errors import CannotEvaluate, TableError
from service.findings import Source
from service.reference.tables import provenance, rows


@dataclass(frozen=True, slots=True)
class Material:
    """A material by name: expansion [1/K] with the band in print, Young's modulus [MPa], Poisson's ratio [-]."""

    name: str
    expansion_per_k: float
    expansion_low_per_k: float
    expansion_high_per_k: float
    youngs_modulus_mpa: float
    poisson: float

    @property
    def words(self) -> str:
        """Return the name as a reader writes it."""
        return self.name.replace("_", " ")


@cache
def materials() -> Mapping[str, Material]:
    """Return all materials by name.

    Raises
    ------
    TableError
        A band does not hold its value, or a modulus is not positive.
    """
    known = {row["material"]: _material(row) for row in rows("materials")}
    for one in known.values():
        if not 0 < one.expansion_low_per_k <= one.expansion_per_k <= one.expansion_high_per_k:
            raise TableError(f"materials: the expansion band of {one.name} does not hold its value")
        if one.youngs_modulus_mpa <= 0 or not 0 < one.poisson < 0.5:
            raise TableError(f"materials: elastic constants of {one.name}")
    return known


def _material(row: Mapping[str, str]) -> Material:
    return Material(
        name=row["material"],
        expansion_per_k=float(row["expansion_1e6_per_k"]) / 1e6,
        expansion_low_per_k=float(row["expansion_low"]) / 1e6,
        expansion_high_per_k=float(row["expansion_high"]) / 1e6,
        youngs_modulus_mpa=float(row["youngs_modulus_gpa"]) * 1000,
        poisson=float(row["poisson"]),
    )


def material(name: str, field: str = "material") -> Material:
    """Return a material by name.

    Raises
    ------
    CannotEvaluate
        ``unknown_material``: the name is not in the table; the names known are listed.
    """
    known = materials()
    if name not in known:
        detail = f"material {name!r} is not known; known are {', '.join(sorted(known))}"
        raise CannotEvaluate(detail, code="unknown_material", field=field)
    return known[name]


def expansion_source(*used: Material) -> Source:
    """Return the source that names the expansions used, each once."""
    named = " and ".join(f"{one.words} {one.expansion_per_k * 1e6:.1f}e-6/K" for one in dict.fromkeys(used))
    source = provenance("materials").source
    return Source(source.id, f"expansion of {named}, textbook tables", source.kind)

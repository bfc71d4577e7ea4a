"""Damage seen on a bearing, by the modes of ISO 15243. What is seen; why it came about is another field.

Codes are ours, the clause beside each is that of ISO 15243:2004; the contents of 2017 name only 5.4.2 as changed.
"""

from functools import lru_cache
from typing import Final

from service.errors import CannotEvaluate, nearest, shown

CLAUSES: Final = {
    "rolling_contact_fatigue": "5.1",
    "rolling_contact_fatigue.subsurface_initiated": "5.1.2",
    "rolling_contact_fatigue.surface_initiated": "5.1.3",
    "wear": "5.2",
    "wear.abrasive": "5.2.2",
    "wear.adhesive": "5.2.3",
    "corrosion": "5.3",
    "corrosion.moisture": "5.3.2",
    "corrosion.frictional": "5.3.3",
    "corrosion.frictional.fretting": "5.3.3.2",
    "corrosion.frictional.false_brinelling": "5.3.3.3",
    "electrical_erosion": "5.4",
    "electrical_erosion.excessive_current": "5.4.2",
    "electrical_erosion.current_leakage": "5.4.3",
    "plastic_deformation": "5.5",
    "plastic_deformation.overload": "5.5.2",
    "plastic_deformation.indentation_particles": "5.5.3",
    "plastic_deformation.indentation_handling": "5.5.4",
    "fracture_cracking": "5.6",
    "fracture_cracking.forced_fracture": "5.6.2",
    "fracture_cracking.fatigue_fracture": "5.6.3",
    "fracture_cracking.thermal_cracking": "5.6.4",
    "undetermined": "",
}
UNDETERMINED: Final = "undetermined"
FATIGUE: Final = "rolling_contact_fatigue"  # what a rating life of ISO 281 speaks of
SEPARATOR: Final = "|"

# terms of the 2004 edition that 2017 renamed, and common short forms
SYNONYMS: Final = {
    "fatigue": "rolling_contact_fatigue",
    "subsurface_fatigue": "rolling_contact_fatigue.subsurface_initiated",
    "surface_fatigue": "rolling_contact_fatigue.surface_initiated",
    "abrasive_wear": "wear.abrasive",
    "adhesive_wear": "wear.adhesive",
    "smearing": "wear.adhesive",
    "scuffing": "wear.adhesive",
    "moisture_corrosion": "corrosion.moisture",
    "frictional_corrosion": "corrosion.frictional",
    "fretting": "corrosion.frictional.fretting",
    "fretting_corrosion": "corrosion.frictional.fretting",
    "false_brinelling": "corrosion.frictional.false_brinelling",
    "excessive_voltage": "electrical_erosion.excessive_current",
    "electrical_erosion.excessive_voltage": "electrical_erosion.excessive_current",
    "current_leakage": "electrical_erosion.current_leakage",
    "overload": "plastic_deformation.overload",
    "true_brinelling": "plastic_deformation.overload",
    "debris": "plastic_deformation.indentation_particles",
    "indentation_debris": "plastic_deformation.indentation_particles",
    "plastic_deformation.indentation_debris": "plastic_deformation.indentation_particles",
    "indentation_handling": "plastic_deformation.indentation_handling",
    "fracture": "fracture_cracking",
    "cracking": "fracture_cracking",
    "forced_fracture": "fracture_cracking.forced_fracture",
    "fatigue_fracture": "fracture_cracking.fatigue_fracture",
    "thermal_cracking": "fracture_cracking.thermal_cracking",
}
_BY_CLAUSE: Final = {clause: code for code, clause in CLAUSES.items() if clause}


def damage_code(written: str) -> str:
    """Return our code for a code, a clause of ISO 15243 or a synonym.

    Raises
    ------
    CannotEvaluate
        ``unknown_damage``
    """
    word = written.strip()
    code = _BY_CLAUSE.get(word, word.lower().replace(" ", "_").replace("-", "_"))
    code = SYNONYMS.get(code, code)
    if code not in CLAUSES:
        near = nearest([code], (*CLAUSES, *SYNONYMS)) or f"; known are {', '.join(CLAUSES)}"
        said = f"{shown(written)} is no mode of damage of ISO 15243 that we know{near}"
        raise CannotEvaluate(said, code="unknown_damage", field="damage")
    return code


@lru_cache(maxsize=4096)
def damage_codes(written: str) -> tuple[str, ...]:
    """Return the codes in a field with ``|`` between them, each once, in their order.

    Raises
    ------
    CannotEvaluate
        ``unknown_damage``
    """
    words = [word for word in written.split(SEPARATOR) if word.strip()]
    return tuple(dict.fromkeys(damage_code(word) for word in words))


def falls_under(code: str, wanted: str) -> bool:
    """Return whether a mode is the wanted one or one of its submodes."""
    return code == wanted or code.startswith(wanted + ".")

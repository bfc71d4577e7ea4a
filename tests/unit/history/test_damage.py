"""Modes of damage by ISO 15243."""

import pytest

from service.errors import CannotEvaluate
from service.history.damage import CLAUSES, SYNONYMS, damage_code, damage_codes, falls_under


@pytest.mark.parametrize(
    ("written", "code"),
    [
        # ISO 15243:2004 contents; 5.4.2 excessive voltage became excessive current erosion in 2017
        ("5.1", "rolling_contact_fatigue"),
        ("5.3.3.2", "corrosion.frictional.fretting"),
        ("5.4.2", "electrical_erosion.excessive_current"),
        ("excessive voltage", "electrical_erosion.excessive_current"),
        ("Debris", "plastic_deformation.indentation_particles"),
        ("true-brinelling", "plastic_deformation.overload"),
        ("wear.abrasive", "wear.abrasive"),
    ],
)
def test_a_code_a_clause_or_an_old_term_is_read(written, code):
    assert damage_code(written) == code


def test_several_modes_stand_in_one_field_each_once():
    assert damage_codes("5.1.2|smearing| wear.adhesive |") == (
        "rolling_contact_fatigue.subsurface_initiated",
        "wear.adhesive",
    )
    assert damage_codes("") == ()


@pytest.mark.parametrize("written", ["5.9", "rust?", "wear.imaginary"])
def test_what_is_not_known_is_refused(written):
    with pytest.raises(CannotEvaluate) as refused:
        damage_code(written)
    assert refused.value.code == "unknown_damage"


def test_every_synonym_leads_to_a_code_and_every_submode_to_its_mode():
    assert {code for code in SYNONYMS.values() if code not in CLAUSES} == set()
    assert not SYNONYMS.keys() & CLAUSES.keys()
    for code in CLAUSES:
        parent = code.rpartition(".")[0]
        assert not parent or (parent in CLAUSES and CLAUSES[code].startswith(CLAUSES[parent] + "."))


def test_a_filter_takes_submodes_but_not_namesakes():
    assert falls_under("wear.abrasive", "wear")
    assert not falls_under("wear", "wear.abrasive")
    assert not falls_under("wearing", "wear")

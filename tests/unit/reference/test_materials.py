"""Expansion and elastic constants against textbook tables."""

import pytest

from service.errors import CannotEvaluate, TableError
from service.reference import materials, tables


@pytest.mark.parametrize(
    ("name", "expansion_1e6", "modulus_gpa"),
    [
        ("carbon_steel", 11.7, 203),  # PYTEL & KIUSALAAS, Mechanics of Materials: 11.7e-6/K; modulus 200 to 207
        ("bearing_steel", 12.5, 206),  # two bearing handbooks
        ("concrete", 10.0, 33),  # design codes for concrete: 10e-6/K
    ],
)
def test_expansion_and_modulus_are_those_of_the_textbooks(name, expansion_1e6, modulus_gpa):
    found = materials.material(name)
    assert found.expansion_per_k == pytest.approx(expansion_1e6 * 1e-6)
    assert found.youngs_modulus_mpa == pytest.approx(modulus_gpa * 1000)


def test_all_materials_of_the_contract_are_known():
    named = "carbon_steel alloy_steel bearing_steel stainless_300 stainless_400 grey_cast_iron ductile_cast_iron"
    assert set(materials.materials()) == {*named.split(), "aluminium", "concrete"}


def test_an_unknown_material_is_refused():
    with pytest.raises(CannotEvaluate) as refused:
        materials.material("wood", "base/material")
    assert (refused.value.code, refused.value.field) == ("unknown_material", "base/material")


def test_the_source_names_each_expansion_once():
    steel, concrete = materials.material("carbon_steel"), materials.material("concrete")
    title = materials.expansion_source(steel, concrete, steel).title
    assert title == "expansion of carbon steel 11.7e-6/K and concrete 10.0e-6/K, textbook tables"


@pytest.mark.parametrize("changes", [{"expansion_low": "12"}, {"youngs_modulus_gpa": "0"}, {"poisson": "0.7"}])
def test_a_band_that_does_not_hold_its_value_is_refused_at_load(monkeypatch, changes):
    true_rows = tables.rows("materials")
    monkeypatch.setattr(materials, "rows", lambda name: ({**true_rows[0], **changes}, *true_rows[1:]))
    with pytest.raises(TableError):
        materials.materials.__wrapped__()

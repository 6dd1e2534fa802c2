"""Tissue sets as data: values with source and label, roles, mixtures, and a clinic's own file."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from evenfield.tissue import (
    FREQUENCY_HZ,
    SHIPPED,
    FatKind,
    Label,
    TissueError,
    Value,
    load_tissue_set,
)

DEFAULT = load_tissue_set()


def test_thermal_values_are_as_tabulated() -> None:
    """Density and the rest of the tables for the tissues a region is made of (labels as in the file)."""
    for name, k, c, rho, flow, metabolic in [
        ("skin_dry", 0.37, 3391, 1109, 106, 1.65),
        ("fat_average_infiltrated", 0.21, 2348, 911, 33, 0.51),
        ("muscle", 0.49, 3421, 1090, 37, 0.91),
        ("bone_cortical", 0.32, 1313, 1908, 10, 0.15),
        ("bone_cancellous", 0.31, 2274, 1178, 30, 0.46),
    ]:
        tissue = DEFAULT.tissue(name)
        assert (tissue.conductivity_w_mk, tissue.heat_capacity_j_kgk, tissue.density_kg_m3) == (k, c, rho)
        assert tissue.metabolic_w_m3 == pytest.approx(metabolic * rho)
        # mL/min/kg × kg/m³ of tissue × kg/m³ of blood
        assert tissue.basal_flow_kg_s_m3 == pytest.approx(flow * 1e-6 / 60 * rho * 1050)
    assert DEFAULT.blood.density_kg_m3 == 1050
    assert DEFAULT.blood.heat_capacity_j_kgk == 3617


def test_every_number_is_reachable_with_source_and_label() -> None:
    for tissue in DEFAULT.tissues.values():
        assert tissue.values["density_kg_m3"].unit == "kg/m³"
        for value in tissue.values.values():
            assert isinstance(value, Value)
            assert value.source
            assert value.label in set(Label)
    muscle = DEFAULT.tissue("muscle").values
    assert muscle["dielectric.delta_2"].value == 7000
    assert "Gabriel" in muscle["dielectric.delta_2"].source
    assert muscle["flow.rise"] == Value(3.55, "kg/(s m³)", muscle["flow.rise"].source, Label.P)
    assert muscle["metabolic_w_kg"].label == Label.M
    assert DEFAULT.conductivity_per_k.value == 0.02
    assert DEFAULT.conductivity_per_k.label == Label.M


def test_plain_words_stand_for_a_chosen_tissue() -> None:
    assert DEFAULT.tissue("skin").name == "skin_dry"
    assert DEFAULT.tissue("fat").name == "fat_average_infiltrated"
    assert DEFAULT.tissue("bone").name == "bone_cortical"
    other = DEFAULT.with_fat(FatKind.NOT_INFILTRATED)
    assert other.tissue("fat").name == "fat_not_infiltrated"
    assert DEFAULT.tissue("fat").name == "fat_average_infiltrated"  # the first set is untouched
    with pytest.raises(TissueError, match=r'fat "lean" is not known; allowed: average_infiltrated, not_inf'):
        DEFAULT.with_fat("lean")


def test_unknown_tissue_is_one_clear_sentence() -> None:
    with pytest.raises(
        TissueError, match=r'^tissue "cartilage" is not in tissue set "default"; allowed: skin, '
    ):
        DEFAULT.tissue("cartilage")


def test_core_is_the_stated_mixture() -> None:
    core, muscle, fat = (DEFAULT.tissue(n) for n in ("core", "muscle", "fat_average_infiltrated"))
    assert core.values["muscle.fraction"].value == 0.6
    assert core.values["conductivity_w_mk"].label == Label.A
    assert core.density_kg_m3 == pytest.approx(0.6 * 1090 + 0.4 * 911)
    assert core.density_kg_m3 * core.heat_capacity_j_kgk == pytest.approx(
        0.6 * 1090 * 3421 + 0.4 * 911 * 2348
    )
    assert core.metabolic_w_m3 == pytest.approx(0.6 * muscle.metabolic_w_m3 + 0.4 * fat.metabolic_w_m3)
    assert core.basal_flow_kg_s_m3 == pytest.approx(0.6 * 0.705775 + 0.4 * 0.5261025)
    assert fat.conductivity_w_mk < core.conductivity_w_mk < muscle.conductivity_w_mk
    y = {t.name: complex(t.dielectric.admittivity(FREQUENCY_HZ)) for t in (core, muscle, fat)}
    series = 1 / (0.6 / y["muscle"] + 0.4 / y["fat_average_infiltrated"])
    parallel = 0.6 * y["muscle"] + 0.4 * y["fat_average_infiltrated"]
    assert abs(series) < abs(y["core"]) < abs(parallel)
    eps = core.dielectric.relative_permittivity(FREQUENCY_HZ)
    assert complex(eps) * 2j * np.pi * FREQUENCY_HZ * 8.8541878128e-12 == pytest.approx(y["core"], rel=1e-9)
    with pytest.raises(ValueError, match="above 0 Hz"):
        core.dielectric.admittivity(-1.0)


def test_sources_are_exactly_those_used() -> None:
    every = DEFAULT.sources()
    assert every == sorted(set(every))
    values = [value for tissue in DEFAULT.tissues.values() for value in tissue.values.values()]
    general = [DEFAULT.conductivity_per_k, DEFAULT.dielectric_spread]
    blood = [DEFAULT.blood.density, DEFAULT.blood.heat_capacity]
    assert set(every) == {value.source for value in [*values, *general, *blood]}
    assert any("Lang" in source for source in every)
    bone = DEFAULT.sources(["bone"])
    assert not any("Lang" in source or "Song" in source for source in bone)
    assert any("Gabriel" in source for source in bone)
    # A law that is not chosen is not cited.
    assert not any("Lang" in source for source in load_tissue_set("constant_flow").sources())


def test_every_shipped_set_loads() -> None:
    for name in SHIPPED:
        loaded = load_tissue_set(name)
        assert loaded.name == name
        assert loaded.title
        assert len(loaded.tissues) == 13


CLINIC = """
extends = "default"
title = "Invented for the test: a drier fat that conducts heat less"
[sources]
ours = "Invented for the test"
[roles]
skin = "skin_wet"
[thermal.fat]
conductivity_w_mk = { value = 0.19, source = "ours", label = "A" }
[flow.fat]
kind = "constant"
[dielectric.fat_average_infiltrated]
source = "ours"
label = "A"
eps_inf = 16.0
delta = [0.0, 0.0, 0.0, 0.0]
tau_s = [1e-9, 1e-9, 1e-9, 1e-9]
alpha = [0.0, 0.0, 0.0, 0.0]
sigma_s = 0.05
"""


def test_a_clinic_writes_its_own_set_without_code(tmp_path: Path) -> None:
    path = tmp_path / "dry_fat.toml"
    path.write_text(CLINIC, encoding="utf-8")
    own = load_tissue_set(path)
    assert own.name == "dry_fat"
    assert own.tissue("skin").name == "skin_wet"
    fat = own.tissue("fat")
    assert fat.values["conductivity_w_mk"] == Value(0.19, "W/(m K)", "Invented for the test", Label.A)
    assert fat.density_kg_m3 == 911  # what is not given stays
    assert fat.flow.kind == "constant"
    y = complex(fat.dielectric.admittivity(FREQUENCY_HZ))
    assert y.real == pytest.approx(0.05)
    assert own.tissue("muscle") == DEFAULT.tissue("muscle")
    # A set may build on a file beside it.
    second = tmp_path / "second.toml"
    second.write_text('extends = "dry_fat.toml"\ntitle = "Invented for the test"\n', encoding="utf-8")
    assert load_tissue_set(second).tissue("fat").conductivity_w_mk == 0.19


EXTENDS = 'extends = "default"\n'


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (EXTENDS + "colour = 1", r"colour is not a known key; allowed: extends, title, "),
        (
            EXTENDS + "[thermal.fat]\nconductivity = 1",
            r"thermal\.fat\.conductivity is not a known key; allowed: conductivity_w_mk, heat_capacity_j_kgk",
        ),
        (
            EXTENDS + '[thermal.fat]\nconductivity_w_mk = { value = 210, source = "tables", label = "M" }',
            r"thermal\.fat\.conductivity_w_mk: value 210 is not allowed; allowed: 0\.02 to 5 W/\(m K\)",
        ),
        (
            EXTENDS + '[thermal.fat]\nconductivity_w_mk = { value = 0.2, source = "nowhere", label = "M" }',
            r'thermal\.fat\.conductivity_w_mk\.source = "nowhere" is not a key of \[sources\]; allowed: ',
        ),
        (
            EXTENDS + '[thermal.fat]\nconductivity_w_mk = { value = 0.2, label = "M" }',
            r"thermal\.fat\.conductivity_w_mk\.source is missing",
        ),
        (
            EXTENDS + '[thermal.fat]\nconductivity_w_mk = { value = 0.2, source = "tables", label = "Q" }',
            r"thermal\.fat\.conductivity_w_mk\.label = 'Q': input should be 'P', 'M', 'C' or 'A'",
        ),
        (
            EXTENDS
            + '[thermal.fat]\nconductivity_w_mk = { value = 0.2, source = "tables", label = "M", note = 1 }',
            r"conductivity_w_mk\.note is not a known key; allowed: value, source, label",
        ),
        (
            EXTENDS + '[thermal.fat]\nconductivity_w_mk = { value = "0.2", source = "tables", label = "M" }',
            r"thermal\.fat\.conductivity_w_mk\.value = '0\.2': input should be a valid number",
        ),
        (EXTENDS + "[thermal.fatt]\ndensity_kg_m3 = 900", r"thermal\.fatt\.conductivity_w_mk is missing"),
        (
            EXTENDS + '[tissue]\ncartilage = { dielectric = "muscle", thermal = "muscle", flow = "rest" }',
            r'tissue "cartilage" is not known; allowed: blood, bone_cancellous',
        ),
        (
            EXTENDS + '[tissue]\ntendon = { dielectric = "sinew", thermal = "tendon", flow = "rest" }',
            r'tissue\.tendon\.dielectric = "sinew" is not known; allowed: blood',
        ),
        (
            EXTENDS + '[flow.unused]\nkind = "constant"',
            r'flow "unused" is not known; allowed: fat, muscle, rest, skin',
        ),
        (
            EXTENDS + '[flow.fat]\nkind = "falling"',
            r"flow\.fat\.kind = 'falling' is not known; allowed: constant",
        ),
        (
            EXTENDS + '[flow.fat]\nkind = "constant"\nrise_kg_s_m3 = 1',
            r"flow\.fat\.rise_kg_s_m3 is not a known key; allowed: kind",
        ),
        (
            EXTENDS + '[roles]\nskin = "leather"',
            r"roles\.skin = 'leather': input should be 'skin_dry' or 'skin_wet'",
        ),
        (
            EXTENDS
            + '[mixture.core]\nsource = "tables"\nlabel = "A"\nparts = { muscle = 0.6, tendon = 0.3 }',
            r"mixture\.core: parts add up to 0\.9; allowed: fractions by volume that add up to 1",
        ),
        (
            EXTENDS + '[mixture.core]\nsource = "tables"\nlabel = "A"\nparts = { gut = 1.0 }',
            r'mixture\.core\.parts "gut" is not known; allowed: blood',
        ),
        ('title = "alone"', r"conductivity_per_k is missing"),
        ("title = ", r"is not valid TOML: "),
        ('extends = "own.toml"', r"extends itself; allowed: a chain that ends"),
        ("extends = 3", r"extends = 3; allowed: the name of a set or the path of a file"),
        (
            'extends = "elsewhere"',
            r'tissue set "elsewhere" is neither a readable file nor one of those shipped',
        ),
    ],
)
def test_a_faulty_set_is_refused_in_one_sentence(tmp_path: Path, text: str, message: str) -> None:
    path = tmp_path / "own.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(TissueError, match=message) as caught:
        load_tissue_set(path)
    assert "\n" not in str(caught.value)
    assert str(caught.value).startswith("tissue set ")


def test_a_missing_set_names_the_shipped_ones() -> None:
    with pytest.raises(
        TissueError, match=r'"no_such" is neither .* allowed: default, constant_flow or the path'
    ):
        load_tissue_set("no_such")

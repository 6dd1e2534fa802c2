"""What a tissue set file may hold: keys, limits, and what each means. See data/default.toml."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, model_validator

from evenfield.tissue.value import Label

TISSUE_NAMES = (
    "fat_average_infiltrated",
    "fat_not_infiltrated",
    "breast_fat",
    "muscle",
    "skin_dry",
    "skin_wet",
    "blood",
    "bone_cortical",
    "bone_cancellous",
    "bone_marrow_infiltrated",
    "bone_marrow_not_infiltrated",
    "tendon",
)
MIXTURE_NAMES = ("core",)


class Table(BaseModel):
    """A table of the file: unknown keys are errors and nothing is coerced from text."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


class Entry(Table):
    """One number with its source (a key of [sources]) and label."""

    value: float = Field(allow_inf_nan=False)
    source: str
    label: Annotated[Label, Field(strict=False)]


def within(low: float, high: float, unit: str) -> AfterValidator:
    """A check that an entry lies in `low` to `high` (in `unit`), to catch a wrong unit or a slip."""

    def check(entry: Entry) -> Entry:
        if not low <= entry.value <= high:
            raise ValueError(f"value {entry.value:g} is not allowed; allowed: {low:g} to {high:g} {unit}")
        return entry

    return AfterValidator(check)


Alpha = Annotated[float, Field(ge=0.0, lt=1.0)]
Delta = Annotated[float, Field(ge=0.0, le=1e9)]
Seconds = Annotated[float, Field(ge=1e-14, le=10.0)]
Density = Annotated[Entry, within(200.0, 3000.0, "kg/m³")]
HeatCapacity = Annotated[Entry, within(500.0, 5000.0, "J/(kg K)")]
FlowRate = Annotated[Entry, within(0.0, 50.0, "kg/(s m³)")]


class BloodTable(Table):
    density_kg_m3: Density
    heat_capacity_j_kgk: HeatCapacity


class DielectricTable(Table):
    source: str
    label: Annotated[Label, Field(strict=False)]
    eps_inf: float = Field(ge=1.0, le=100.0)
    delta: Annotated[list[Delta], Field(min_length=4, max_length=4)]
    tau_s: Annotated[list[Seconds], Field(min_length=4, max_length=4)]
    alpha: Annotated[list[Alpha], Field(min_length=4, max_length=4)]
    sigma_s: float = Field(ge=0.0, le=10.0)


class ThermalTable(Table):
    conductivity_w_mk: Annotated[Entry, within(0.02, 5.0, "W/(m K)")]
    heat_capacity_j_kgk: HeatCapacity
    density_kg_m3: Density
    basal_flow_ml_min_kg: Annotated[Entry, within(0.0, 5000.0, "mL/(min kg)")]
    metabolic_w_kg: Annotated[Entry, within(0.0, 50.0, "W/kg")]


class ConstantTable(Table):
    kind: Literal["constant"]


class RisingTable(Table):
    kind: Literal["rising"]
    floor_kg_s_m3: FlowRate
    rise_kg_s_m3: FlowRate
    peak_c: Annotated[Entry, within(37.0, 60.0, "°C")]
    spread_k2: Annotated[Entry, within(0.1, 1000.0, "K²")]


class DoublingTable(Table):
    kind: Literal["doubling"]
    set_point_c: Annotated[Entry, within(25.0, 40.0, "°C")]
    step_k: Annotated[Entry, within(1.0, 100.0, "K")]
    greatest_factor: Annotated[Entry, within(1.0, 20.0, "times")]


FlowTable = Annotated[ConstantTable | RisingTable | DoublingTable, Field(discriminator="kind")]


class TissueTable(Table):
    dielectric: str
    thermal: str
    flow: str


class MixtureTable(Table):
    source: str
    label: Annotated[Label, Field(strict=False)]
    parts: Annotated[dict[str, Annotated[float, Field(gt=0.0, le=1.0)]], Field(min_length=1)]

    @model_validator(mode="after")
    def _whole(self) -> MixtureTable:
        total = sum(self.parts.values())
        if abs(total - 1.0) > 1e-9:
            raise ValueError(f"parts add up to {total:g}; allowed: fractions by volume that add up to 1")
        return self


class RolesTable(Table):
    skin: Literal["skin_dry", "skin_wet"]
    fat: Literal["fat_average_infiltrated", "fat_not_infiltrated"]
    bone: Literal["bone_cortical", "bone_cancellous"]


class SetFile(Table):
    """A whole set, after what it extends has been filled in."""

    title: str
    conductivity_per_k: Annotated[Entry, within(-0.1, 0.1, "per K")]
    dielectric_spread: Annotated[Entry, within(0.0, 1.0, "of the value")]
    sources: dict[str, str]
    blood: BloodTable
    roles: RolesTable
    dielectric: dict[str, DielectricTable]
    thermal: dict[str, ThermalTable]
    flow: dict[str, FlowTable]
    tissue: dict[str, TissueTable]
    mixture: dict[str, MixtureTable]

    @model_validator(mode="after")
    def _names_agree(self) -> SetFile:
        for table, allowed in (("tissue", TISSUE_NAMES), ("mixture", MIXTURE_NAMES)):
            given = getattr(self, table)
            _only_known(table, given, allowed)
            for name in allowed:
                if name not in given:
                    raise ValueError(f"{table}.{name} is missing; a set holds {', '.join(allowed)}")
        for section in ("dielectric", "thermal", "flow"):
            tables: dict[str, Any] = getattr(self, section)
            used = set()
            for name, tissue in self.tissue.items():
                used.add(getattr(tissue, section))
                _only_known(f"tissue.{name}.{section} =", [getattr(tissue, section)], tables)
            _only_known(section, tables, used)
        for name, mixture in self.mixture.items():
            _only_known(f"mixture.{name}.parts", mixture.parts, TISSUE_NAMES)
        for where, source in _sources_used(self.model_dump(), ""):
            if source not in self.sources:
                raise ValueError(
                    f'{where} = "{source}" is not a key of [sources]; allowed: {", ".join(self.sources)}'
                )
        return self


def _only_known(where: str, given: Any, allowed: Any) -> None:
    for name in given:
        if name not in allowed:
            raise ValueError(f'{where} "{name}" is not known; allowed: {", ".join(sorted(allowed))}')


def _sources_used(table: dict[str, Any], path: str) -> list[tuple[str, str]]:
    found: list[tuple[str, str]] = []
    for key, item in table.items():
        where = f"{path}.{key}" if path else key
        if key == "source":
            found.append((where, item))
        elif isinstance(item, dict):
            found += _sources_used(item, where)
    return found

"""One tissue, and a set of tissues that belong together."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum

from evenfield.tissue.dispersion import Dispersion
from evenfield.tissue.flow import Blood, Flow
from evenfield.tissue.value import Value


class TissueError(ValueError):
    """A tissue set or a tissue's name is wrong; the message is one clear sentence."""


class FatKind(StrEnum):
    """Which published "fat" is meant. The choice doubles or halves heating of fat against muscle."""

    AVERAGE_INFILTRATED = "average_infiltrated"
    NOT_INFILTRATED = "not_infiltrated"


@dataclass(frozen=True)
class Tissue:
    """Everything the field and the heat need to know of one tissue, at rest and at 37 °C.

    `values` holds every number behind the tissue by name (the thermal ones under the names of the
    properties below, those of the dispersion and of the flow as "dielectric.…" and "flow.…"; those of the
    parts of a mixture as "<part>.…"), each with unit, source and label.
    """

    name: str
    dielectric: Dispersion
    flow: Flow
    values: Mapping[str, Value]

    @property
    def conductivity_w_mk(self) -> float:
        """Thermal conductivity, W/(m K), without blood flow."""
        return self.values["conductivity_w_mk"].value

    @property
    def heat_capacity_j_kgk(self) -> float:
        """Heat capacity, J/(kg K)."""
        return self.values["heat_capacity_j_kgk"].value

    @property
    def density_kg_m3(self) -> float:
        """Density, kg/m³."""
        return self.values["density_kg_m3"].value

    @property
    def metabolic_w_m3(self) -> float:
        """Heat made by the tissue at rest, W/m³ (W/kg × density)."""
        return self.values["metabolic_w_kg"].value * self.density_kg_m3

    @property
    def basal_flow_kg_s_m3(self) -> float:
        """Blood flow at rest as tabulated, kg/(s m³). A law of `flow` need not start from it."""
        return self.values["basal_flow_kg_s_m3"].value


@dataclass(frozen=True)
class TissueSet:
    """A dated, authored set of tissues, chosen by name or file and never by code.

    `tissues` holds the tissues by their own names; `roles` says which of them stands for plain "skin",
    "fat" and "bone"; `conductivity_per_k` is the relative rise of sigma per kelvin near 27 MHz (kept as
    data, not used by the field) and `dielectric_spread` the relative spread of measured dielectric values.
    """

    name: str
    title: str
    tissues: Mapping[str, Tissue]
    roles: Mapping[str, str]
    blood: Blood
    conductivity_per_k: Value
    dielectric_spread: Value

    def tissue(self, name: str) -> Tissue:
        """The tissue called `name`, or the one that stands for it; TissueError if there is none."""
        found = self.tissues.get(self.roles.get(name, name))
        if found is None:
            allowed = ", ".join([*self.roles, *self.tissues])
            raise TissueError(f'tissue "{name}" is not in tissue set "{self.name}"; allowed: {allowed}')
        return found

    def with_fat(self, kind: FatKind | str) -> TissueSet:
        """The same set with plain "fat" standing for `kind`. Raises `TissueError` for another word."""
        try:
            known = FatKind(kind)
        except ValueError:
            raise TissueError(f'fat "{kind}" is not known; allowed: {", ".join(FatKind)}') from None
        return replace(self, roles={**self.roles, "fat": f"fat_{known}"})

    def sources(self, names: Iterable[str] | None = None) -> list[str]:
        """The sources behind the named tissues (all if None) and blood, each once, in alphabetical order."""
        wanted = self.tissues.values() if names is None else [self.tissue(name) for name in names]
        used = {value.source for tissue in wanted for value in tissue.values.values()}
        used |= {self.blood.density.source, self.blood.heat_capacity.source}
        if names is None:
            used |= {self.conductivity_per_k.source, self.dielectric_spread.source}
        return sorted(used)

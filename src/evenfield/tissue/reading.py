"""Reading a tissue set from its TOML file: fill in what it extends, check it, build the frozen values."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from evenfield.tissue import schema
from evenfield.tissue.dispersion import ColeCole, Dispersion, MixedDispersion, effective_medium
from evenfield.tissue.flow import ML_MIN_PER_M3_S, Blood, ConstantFlow, DoublingFlow, Flow, RisingFlow
from evenfield.tissue.tissue import Tissue, TissueError, TissueSet
from evenfield.tissue.value import Value

SHIPPED = ("default", "constant_flow")
"""Names of the sets that come with the package."""

_SECTION_DEPTH = {"thermal": 2}
"""How many levels below a section are merged one by one; everywhere else one level."""


def load_tissue_set(name: str | Path = "default") -> TissueSet:
    """Read the tissue set called `name` (one of `SHIPPED`) or the TOML file at that path.

    A set may say `extends = "default"` (or another set or file, relative to itself) and give only what
    differs. Raises TissueError, one clear sentence, if the file is missing, is not TOML, has an unknown
    key, tissue or source, or a value out of its limits.
    """
    return _shipped_set(name) if isinstance(name, str) and name in SHIPPED else _read(name)


@cache
def _shipped_set(name: str) -> TissueSet:
    """A set that comes with the package, read once: it cannot change and its values are frozen."""
    return _read(name)


def _read(name: str | Path) -> TissueSet:
    where = _display(name)
    merged = _merged(name, Path.cwd(), ())
    try:
        checked = schema.SetFile.model_validate(merged)
    except ValidationError as error:
        raise TissueError(f"tissue set {where}: {_sentence(error)}") from None
    return _build(str(name) if name in SHIPPED else Path(name).stem, checked)


def _display(name: str | Path) -> str:
    return f'"{name}"'


def _merged(name: str | Path, folder: Path, seen: tuple[str, ...]) -> dict[str, Any]:
    """The raw tables of a set with everything it extends filled in."""
    if name in SHIPPED:
        key, text = str(name), files("evenfield.tissue").joinpath("data", f"{name}.toml").read_text("utf-8")
    else:
        path = folder / name
        key = str(path.resolve())
        try:
            text = path.read_text("utf-8")
        except (OSError, UnicodeDecodeError) as error:
            if path.exists():
                raise TissueError(f"tissue set {_display(name)} {why_unreadable(error)}") from None
            raise TissueError(
                f"tissue set {_display(name)} is neither a readable file nor one of those shipped; "
                f"allowed: {', '.join(SHIPPED)} or the path of a TOML file"
            ) from None
        folder = path.parent
    if key in seen:
        raise TissueError(f"tissue set {_display(name)} extends itself; allowed: a chain that ends")
    try:
        tables = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise TissueError(f"tissue set {_display(name)} is not valid TOML: {error}") from None
    base = tables.pop("extends", None)
    if base is None:
        return tables
    if not isinstance(base, str):
        raise TissueError(
            f"tissue set {_display(name)}: extends = {base!r}; allowed: the name of a set "
            "or the path of a file"
        )
    merged = _merged(base, folder, (*seen, key))
    for section, given in tables.items():
        merged[section] = _overlaid(merged.get(section), given, _SECTION_DEPTH.get(section, 1))
    return merged


def why_unreadable(error: OSError | UnicodeDecodeError) -> str:
    """What is wrong with a file that is there, as the end of a sentence that names it."""
    if isinstance(error, UnicodeDecodeError):
        return f"is not text in UTF-8 (byte {error.start + 1}); save the file as UTF-8"
    return f"cannot be read: {(error.strerror or 'unknown reason').lower()}"


def _overlaid(base: Any, given: Any, depth: int) -> Any:
    if depth == 0 or not isinstance(base, dict) or not isinstance(given, dict) or "value" in given:
        return given
    return base | {key: _overlaid(base.get(key), item, depth - 1) for key, item in given.items()}


def _sentence(error: ValidationError) -> str:
    """The first fault as one clause: the key, what is wrong, what is allowed."""
    first = error.errors()[0]
    # A chosen kind of law appears in the location though it is no key of the file.
    kinds = {"constant", "rising", "doubling"}
    key = ".".join(str(part) for part in first["loc"] if part not in kinds)
    kind, given = first["type"], first["input"]
    if kind == "missing":
        return f"{key} is missing"
    if kind == "extra_forbidden":
        return f"{key} is not a known key; allowed: {', '.join(_allowed_keys(first['loc'][:-1]))}"
    if kind == "value_error":
        text = str(first["ctx"]["error"])
        return f"{key}: {text}" if key else text
    if kind in {"union_tag_invalid", "union_tag_not_found"}:
        tag = given.get("kind") if isinstance(given, Mapping) else given
        return f"{key}.kind = {tag!r} is not known; allowed: constant, rising, doubling"
    return f"{key} = {given!r}: {first['msg'][0].lower()}{first['msg'][1:]}"


def _allowed_keys(location: tuple[int | str, ...]) -> list[str]:
    """The keys of the table at `location` of a set file."""
    named: dict[str, type[schema.Table]] = {
        "dielectric": schema.DielectricTable,
        "thermal": schema.ThermalTable,
        "tissue": schema.TissueTable,
        "mixture": schema.MixtureTable,
        "constant": schema.ConstantTable,
        "rising": schema.RisingTable,
        "doubling": schema.DoublingTable,
        "blood": schema.BloodTable,
        "roles": schema.RolesTable,
    }
    match location:
        case ():
            return ["extends", *schema.SetFile.model_fields]
        case ("flow", _, kind):
            return list(named[str(kind)].model_fields)
        case (section, _) if section in {"dielectric", "thermal", "tissue", "mixture"}:
            return list(named[str(section)].model_fields)
        case (section,) if section in named:
            return list(named[str(section)].model_fields)
        case _:
            return list(schema.Entry.model_fields)


def _build(name: str, checked: schema.SetFile) -> TissueSet:
    sources = checked.sources

    def entry(item: schema.Entry, unit: str) -> Value:
        return Value(item.value, unit, sources[item.source], item.label)

    blood = Blood(
        density=entry(checked.blood.density_kg_m3, "kg/m³"),
        heat_capacity=entry(checked.blood.heat_capacity_j_kgk, "J/(kg K)"),
    )

    def law(table: schema.ConstantTable | schema.RisingTable | schema.DoublingTable, basal: Value) -> Flow:
        if isinstance(table, schema.RisingTable):
            return RisingFlow(
                floor=entry(table.floor_kg_s_m3, "kg/(s m³)"),
                rise=entry(table.rise_kg_s_m3, "kg/(s m³)"),
                peak=entry(table.peak_c, "°C"),
                spread=entry(table.spread_k2, "K²"),
            )
        if isinstance(table, schema.DoublingTable):
            return DoublingFlow(
                basal=basal,
                set_point=entry(table.set_point_c, "°C"),
                step=entry(table.step_k, "K"),
                greatest=entry(table.greatest_factor, "1"),
            )
        return ConstantFlow(basal)

    tissues: dict[str, Tissue] = {}
    for key, parts in checked.tissue.items():
        numbers = checked.dielectric[parts.dielectric]
        dielectric = ColeCole(
            eps_inf=numbers.eps_inf,
            delta=_four(numbers.delta),
            tau_s=_four(numbers.tau_s),
            alpha=_four(numbers.alpha),
            sigma_s=numbers.sigma_s,
            source=sources[numbers.source],
            label=numbers.label,
        )
        thermal = checked.thermal[parts.thermal]
        values = {
            "conductivity_w_mk": entry(thermal.conductivity_w_mk, "W/(m K)"),
            "heat_capacity_j_kgk": entry(thermal.heat_capacity_j_kgk, "J/(kg K)"),
            "density_kg_m3": entry(thermal.density_kg_m3, "kg/m³"),
            "metabolic_w_kg": entry(thermal.metabolic_w_kg, "W/kg"),
            "basal_flow_ml_min_kg": entry(thermal.basal_flow_ml_min_kg, "mL/(min kg)"),
        }
        values["basal_flow_kg_s_m3"] = _basal_flow(values, blood)
        flow = law(checked.flow[parts.flow], values["basal_flow_kg_s_m3"])
        tissues[key] = _tissue(key, dielectric, flow, values, dielectric.values)
    for key, mixture in checked.mixture.items():
        tissues[key] = _mixed(key, mixture, sources[mixture.source], tissues)
    return TissueSet(
        name=name,
        title=checked.title,
        tissues=tissues,
        roles=checked.roles.model_dump(),
        blood=blood,
        conductivity_per_k=entry(checked.conductivity_per_k, "1/K"),
        dielectric_spread=entry(checked.dielectric_spread, "1"),
    )


def _four(numbers: list[float]) -> tuple[float, float, float, float]:
    a, b, c, d = numbers
    return a, b, c, d


def _basal_flow(values: Mapping[str, Value], blood: Blood) -> Value:
    """Flow at rest in kg/(s m³): mL/(min kg) × density of tissue × density of blood."""
    tabulated = values["basal_flow_ml_min_kg"]
    per_second = tabulated.value / ML_MIN_PER_M3_S * values["density_kg_m3"].value * blood.density_kg_m3
    return Value(per_second, "kg/(s m³)", tabulated.source, tabulated.label)


def _tissue(
    name: str, dielectric: Dispersion, flow: Flow, values: dict[str, Value], behind: Mapping[str, Value]
) -> Tissue:
    every = dict(values)
    every |= {f"dielectric.{key}": value for key, value in behind.items()}
    every |= {f"flow.{key}": value for key, value in flow.values.items()}
    return Tissue(name=name, dielectric=dielectric, flow=flow, values=every)


def _mixed(name: str, mixture: schema.MixtureTable, source: str, tissues: Mapping[str, Tissue]) -> Tissue:
    """A tissue averaged over its parts: mass, heat, blood by volume; k and y by the mixing rule."""
    parts = [tissues[part] for part in mixture.parts]
    fractions = tuple(mixture.parts.values())

    def mean(values: list[float]) -> float:
        return sum(f * value for f, value in zip(fractions, values, strict=True))

    density = mean([part.density_kg_m3 for part in parts])
    stored = mean([part.density_kg_m3 * part.heat_capacity_j_kgk for part in parts])
    conducted = effective_medium(fractions, [part.conductivity_w_mk for part in parts]).real

    def averaged(value: float, unit: str) -> Value:
        return Value(value, unit, source, mixture.label)

    basal = averaged(mean([part.basal_flow_kg_s_m3 for part in parts]), "kg/(s m³)")
    values = {
        "conductivity_w_mk": averaged(float(conducted), "W/(m K)"),
        "heat_capacity_j_kgk": averaged(stored / density, "J/(kg K)"),
        "density_kg_m3": averaged(density, "kg/m³"),
        "metabolic_w_kg": averaged(mean([part.metabolic_w_m3 for part in parts]) / density, "W/kg"),
        "basal_flow_kg_s_m3": basal,
    }
    for part, fraction in zip(parts, fractions, strict=True):
        values[f"{part.name}.fraction"] = averaged(fraction, "1")
        values |= {
            f"{part.name}.{key}": value for key, value in part.values.items() if not key.startswith("flow.")
        }
    dielectric = MixedDispersion(fractions, tuple(part.dielectric for part in parts))
    return _tissue(name, dielectric, ConstantFlow(basal), values, {})

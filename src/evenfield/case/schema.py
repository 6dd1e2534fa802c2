"""The case file's keys and types. Ranges are checked in `limits`, what does not fit together in `read`.

Every key that may be left out is None here; `read` fills it in and notes that it did.
"""

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

Number = Annotated[float, Field(allow_inf_nan=False)]


class _Section(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


class RegionSection(_Section):
    """[region]: what was measured."""

    kind: Literal["abdomen", "flank", "thigh", "above_knee", "upper_arm", "calf"]
    side: Literal["left", "right"] | None = None
    levels_mm: list[Number] | None = None
    girth_mm: list[Number]
    width_to_depth: Number | None = None
    fat_mm: object = None  # a number, a table of four, or a list of those: read by `fat`
    skin_mm: Number | None = None
    bone_radius_mm: Number | None = None
    wall_mm: Number | None = None
    fat: Literal["average_infiltrated", "not_infiltrated"] | None = None


class RoomSection(_Section):
    """[room]: the air and the covers."""

    air_c: Number | None = None
    air_speed_m_s: Number | None = None
    humidity: Number | None = None
    wettedness: Number | None = None
    drape_clo: Number | None = None


class PanelSection(_Section):
    """[[panel]]: one plate."""

    name: str | None = None
    shape: Literal["flat", "curved"] | None = None
    angle_deg: Number | None = None
    level_mm: Number | None = None
    width_mm: Number | None = None
    length_mm: Number | None = None
    gap_mm: Number | None = None
    tilt_across_deg: Number | None = None
    tilt_along_deg: Number | None = None
    drive: Number | None = None


class StepTable(_Section):
    """One step of session.steps."""

    minute: Number
    power_w: Number | None = None
    absorbed_w: Number | None = None


class FractionTable(_Section):
    """session.absorbed_fraction."""

    low: Number
    mid: Number
    high: Number


class SessionSection(_Section):
    """[session]: power and time."""

    power_w: Number | None = None
    absorbed_w: Number | None = None
    steps: list[StepTable] | None = None
    minutes: Number | None = None
    after_minutes: Number | None = None
    absorbed_fraction: FractionTable | None = None
    band_c: list[Number] | None = None
    picture_minute: Number | None = None
    baseline_c: Number | None = None


class TissueSection(_Section):
    """[tissue]: which set of tissue values."""

    set: str | None = None


class CaseFile(_Section):
    """The whole file."""

    title: str | None = None
    region: RegionSection
    room: RoomSection = RoomSection()
    panel: list[PanelSection]
    session: SessionSection = SessionSection()
    tissue: TissueSection = TissueSection()

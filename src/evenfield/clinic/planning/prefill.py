"""What a plan starts from: the newest measurements, the last plan of the course, the room, the device."""

from dataclasses import dataclass, field

from django.utils import timezone
from django.utils.formats import date_format

from evenfield.body import DIRECTIONS, RegionKind
from evenfield.case import CaseError
from evenfield.clinic.courses.models import Visit
from evenfield.clinic.devices.models import Device, PanelProfile, TreatmentRoom
from evenfield.clinic.measuring.for_planning import RegionValues, values_for_case
from evenfield.clinic.people.models import Person
from evenfield.clinic.planning.models import Plan
from evenfield.clinic.planning.sheet import LEVELS, SESSION, WANTED, Values, shown, values_of

USUAL_GAP_MM = 10.0


@dataclass
class Start:
    """Values by field, where each came from, what is missing, and notes to be shown."""

    values: Values = field(default_factory=dict)
    sources: dict[str, str] = field(default_factory=dict)
    missing: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def put(self, name: str, value: str, source: str) -> None:
        """One value with its source."""
        self.values[name], self.sources[name] = value, source


@dataclass(frozen=True)
class PlanFor:
    """For whom, where and with what is planned; `visit` None for a plan without one."""

    person: Person
    region: RegionKind
    side: str
    visit: Visit | None = None
    device: Device | None = None
    room: TreatmentRoom | None = None


def start(planned: PlanFor) -> Start:
    """Everything the record knows."""
    begun = Start()
    words = f"{planned.side} {planned.region.replace('_', ' ')}".strip().capitalize()
    place = f", visit {planned.visit.number}" if planned.visit else ""
    begun.put("title", f"{words}{place}", "")
    begun.put("region.kind", planned.region.value, "")
    begun.put("region.side", planned.side, "")
    begun.put("session.kind", "power_w", "")
    _measured(begun, values_for_case(planned.person, planned.region, planned.side))
    earlier = _earlier(planned)
    if earlier is not None:
        _from_plan(begun, earlier)
    else:
        _panels(begun, planned)
        begun.missing.append("Power and minutes: enter what you mean to set.")
    _room(begun, planned.room)
    return begun


def _measured(begun: Start, found: RegionValues | None) -> None:
    if found is None:
        begun.missing.append("Girths of this region were not measured: enter them, or measure first.")
        return
    if len(found.levels_mm) > LEVELS:
        begun.notes.append(f"Only the first {LEVELS} of {len(found.levels_mm)} levels are taken.")
    when = date_format(timezone.localtime(found.girths_at), "DATE_FORMAT")
    for n in range(min(LEVELS, len(found.levels_mm))):
        source = f"measured {when}"
        begun.put(f"level{n}.level", shown(found.levels_mm[n]), source)
        begun.put(f"level{n}.girth", shown(found.girth_mm[n]), f"{source}, ± {found.girth_sem_mm[n]:g} mm")
        if found.fat_mm and found.fat_sem_mm and found.fat_at and n < len(found.fat_mm):
            fat_when = date_format(timezone.localtime(found.fat_at), "DATE_FORMAT")
            for d in DIRECTIONS:
                told = f"measured {fat_when}, ± {found.fat_sem_mm[n][d]:g} mm"
                begun.put(f"level{n}.{d}", shown(found.fat_mm[n][d]), told)
    begun.notes.extend(found.notes)


def _earlier(planned: PlanFor) -> Plan | None:
    people = planned.person.one_person()
    same = Plan.objects.filter(person__in=people, region=planned.region.value, side=planned.side)
    found = same.filter(saved__isnull=False).order_by("-saved").first() or same.first()
    return found if isinstance(found, Plan) and found.case else None


def _from_plan(begun: Start, earlier: Plan) -> None:
    """Panels, session and the body's shape of an earlier plan; measurements and room are taken anew."""
    try:
        values = values_of(earlier.checked_case())
    except CaseError as error:
        begun.notes.append(f"The earlier plan can no longer be read: {error}")
        return
    when = date_format(timezone.localtime(earlier.saved or earlier.made), "DATE_FORMAT")
    kept = {e.name for e in (*SESSION, *WANTED)} | {"region.fat", "region.width_to_depth"}
    for name, value in values.items():
        if name in kept or (name[0] == "p" and name[2:3] == "."):
            begun.put(name, value, f"as in the plan of {when}")


def _panels(begun: Start, planned: PlanFor) -> None:
    if planned.device is None:
        begun.missing.append("Panels: no device is chosen; enter the panels and their place.")
        return
    profiles = [p for p in panel_profiles(planned.device) if p.shape == "flat"]
    if not profiles:
        begun.missing.append(f"Panels: none are entered for {planned.device}; enter their measures.")
        return
    least = min(profiles, key=lambda p: p.width_mm * p.length_mm)
    trunk = planned.region.trunk
    gap = max(USUAL_GAP_MM, planned.device.gap_least_mm or 0.0)
    places = (("left", 30.0, 1.0), ("right", -30.0, -1.0)) if trunk else (
        ("inner", 90.0, 1.0), ("outer", 270.0, -1.0))  # fmt: skip
    for n, (name, angle, drive) in enumerate(places):
        guess = "a usual arrangement of two panels (assumed): change it to yours"
        begun.put(f"p{n}.name", name, guess)
        begun.put(f"p{n}.angle_deg", shown(angle), guess)
        begun.put(f"p{n}.level_mm", "0", guess)
        begun.put(f"p{n}.drive", shown(drive), guess)
        begun.put(f"p{n}.gap_mm", shown(gap), "common practice, no source, never below the manual's")
        for key in ("shape", "width_mm", "length_mm"):
            value = getattr(least, key)
            begun.put(f"p{n}.{key}", shown(value), f"panel “{least.name}” of this device")
    begun.missing.append("Where the panels sit is assumed: choose yours.")


def _room(begun: Start, room: TreatmentRoom | None) -> None:
    if room is None:
        return
    for key in ("air_c", "air_speed_m_s"):
        if (value := getattr(room, key)) is not None:
            begun.put(f"room.{key}", shown(value), f"as entered for {room}")


def panel_profiles(device: Device | None) -> list[PanelProfile]:
    """The kinds of panels that this device can take."""
    rows = PanelProfile.objects.filter(in_use=True)
    return [p for p in rows if p.device_id is None or (device and p.device_id == device.pk)]

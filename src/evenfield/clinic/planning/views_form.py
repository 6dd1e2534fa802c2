"""The form of a plan: filled from the record, checked, and sent to be computed."""

from collections.abc import Mapping
from dataclasses import dataclass

from django.contrib import messages
from django.db import transaction
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from evenfield.body import RegionKind
from evenfield.case import Case, CaseError, case_to_toml
from evenfield.clinic.access import requires
from evenfield.clinic.accounts.middleware import StaffRequest
from evenfield.clinic.audit import trail
from evenfield.clinic.audit.models import Action
from evenfield.clinic.courses.finding import visit_or_404
from evenfield.clinic.courses.models import REGIONS, SIDES, Visit, VisitState
from evenfield.clinic.devices.models import Device
from evenfield.clinic.people.views import present_person
from evenfield.clinic.planning import manual
from evenfield.clinic.planning.finding import plan_or_404
from evenfield.clinic.planning.models import JobKind, Plan
from evenfield.clinic.planning.ordering import order_for
from evenfield.clinic.planning.prefill import PlanFor, Start, panel_profiles, start
from evenfield.clinic.planning.sheet import (
    LEVEL,
    LEVELS,
    PANEL,
    PANELS,
    REGION,
    ROOM,
    SESSION,
    TITLE,
    WANTED,
    CaseEntry,
    Problems,
    case_of,
    stand_in,
    values_of,
)
from evenfield.clinic.whole_numbers import whole_number


@requires("planning.use")
def plan_visit(request: StaffRequest, number: int) -> HttpResponse:
    """Plan one visit."""
    visit = visit_or_404(number)
    course = visit.course
    device = _device(request) or visit.device
    planned = PlanFor(visit.person.kept, course.region_kind, course.side, visit, device, visit.room)
    return _form(request, planned, start(planned))


@requires("planning.use")
def plan_region(request: StaffRequest, code: str) -> HttpResponse:
    """Plan a region without a visit."""
    asked = request.GET if request.method == "GET" else request.POST
    region = asked.get("region", asked.get("region.kind", ""))
    side = asked.get("side", asked.get("region.side", ""))
    if region not in dict(REGIONS) or side not in dict(SIDES):
        return redirect("plan-person", code=present_person(code).code)
    planned = PlanFor(present_person(code), RegionKind(region), side, None, _device(request))
    return _form(request, planned, start(planned))


@requires("planning.use")
def change_plan(request: StaffRequest, number: int) -> HttpResponse:
    """Another version of a plan, begun from this one."""
    plan = plan_or_404(number)
    planned = PlanFor(
        plan.person.kept, RegionKind(plan.region), plan.side, plan.visit, _device(request) or plan.device
    )
    try:
        begun = Start(values_of(plan.checked_case()), dict(plan.sources))
    except CaseError as error:
        begun = start(planned)
        begun.notes.append(f"This plan can no longer be read: {error}")
    return _form(request, planned, begun)


@requires("planning.use")
def plan_person(request: StaffRequest, code: str) -> HttpResponse:
    """A person's visits to plan, plans made, and the way to plan a region without a visit."""
    person = present_person(code)
    people = person.one_person()
    trail.record(Action.READ, kind="planning.plan", subject_id=person.pk)
    visits = Visit.objects.filter(course__person__in=people, state=VisitState.PLANNED)
    plans = Plan.objects.filter(person__in=people).select_related("visit", "made_by").exclude(case="")
    context = {
        "person": person,
        "visits": visits.select_related("course", "device").order_by("planned_start")[:20],
        "plans": plans.order_by("-pk")[:50],
        "regions": REGIONS,
        "sides": SIDES,
        "devices": Device.objects.filter(in_use=True),
    }
    return render(request, "planning/person.html", context)


def _device(request: StaffRequest) -> Device | None:
    chosen = whole_number(request.POST.get("device", request.GET.get("device", "")))
    found = Device.objects.filter(pk=chosen, in_use=True).first() if chosen is not None else None
    return found if isinstance(found, Device) else None


def _form(request: StaffRequest, planned: PlanFor, begun: Start) -> HttpResponse:
    wrong: dict[str, str] = {}
    values: Mapping[str, str] = begun.values
    if request.method == "POST":
        values = {name: text[:200] for name, text in request.POST.items() if isinstance(text, str)}
        try:
            case = case_of(values)
        except Problems as problems:
            wrong = problems.by_field
        else:
            wrong = _beyond(case, planned.device, values)
            if not wrong:
                sources = {
                    name: told
                    for name, told in begun.sources.items()
                    if told and values.get(name, "").strip() == begun.values.get(name)
                }
                return redirect("plan", number=new_plan(request, planned, case, sources).pk)
    sources = {
        name: told for name, told in begun.sources.items() if values.get(name, "") == begun.values.get(name)
    }
    sheet = _Sheet(values, sources, wrong, planned.region)
    context = {
        "planned": planned,
        "person": planned.person,
        "start": begun,
        "sheet": sheet,
        "devices": Device.objects.filter(in_use=True),
        "profiles": panel_profiles(planned.device),
        "limits": manual.told(planned.device),
        "wrong": [(name, words) for name, words in wrong.items()],
    }
    return render(request, "planning/form.html", context)


def _beyond(case: Case, device: Device | None, values: Mapping[str, str]) -> dict[str, str]:
    """Beyond the manual, by the blocks of the form, which may leave one out."""
    used = [n for n in range(PANELS) if any(values.get(f"p{n}.{e.name}", "").strip() for e in PANEL)]
    found = {}
    for name, words in manual.beyond(case, device).items():
        here = f"p{used[int(name[1])]}{name[2:]}" if name.startswith("p") else name
        found[here] = words
    return found


def new_plan(request: StaffRequest, planned: PlanFor, case: Case, sources: Mapping[str, str]) -> Plan:
    """A new version with its forecast ordered."""
    with transaction.atomic():
        plan = Plan(
            person=planned.person,
            visit=planned.visit,
            device=planned.device,
            region=case.measurements.kind.value,
            side=case.measurements.side or "",
            case=case_to_toml(case),
            sources=dict(sources),
            made_by=request.user,
        )
        plan.save()
        order_for(plan, JobKind.FORECAST)
    messages.success(request, f"Checked; the forecast was ordered at {timezone.localtime():%H:%M}.")
    return plan


@dataclass(frozen=True)
class _Shown:
    """One field on the page."""

    entry: CaseEntry
    name: str
    value: str
    hint: str
    wrong: str

    @property
    def id(self) -> str:
        return self.name.replace(".", "-")


class _Sheet:
    """All fields, in the groups of the page."""

    def __init__(
        self,
        values: Mapping[str, str],
        sources: Mapping[str, str],
        wrong: Mapping[str, str],
        kind: RegionKind,
    ) -> None:
        self._values, self._sources, self._wrong = values, sources, wrong
        try:
            self._kind = RegionKind(values.get("region.kind", kind.value))
        except ValueError:
            raise Http404 from None

    def _field(self, entry: CaseEntry, before: str = "") -> _Shown:
        name = f"{before}{entry.name}"
        value = self._values.get(name, "")
        hint = self._sources.get(name, "")
        if not value.strip():
            hint = stand_in(name, self._kind)
        return _Shown(entry, name, value, hint[:1].upper() + hint[1:], self._wrong.get(name, ""))

    @property
    def title(self) -> _Shown:
        return self._field(TITLE)

    @property
    def region(self) -> list[_Shown]:
        unused = "region.bone_radius_mm" if self._kind.trunk else "region.wall_mm"
        used = [e for e in REGION if e.name != unused or self._values.get(e.name, "").strip()]
        return [self._field(entry) for entry in used]

    @property
    def groups(self) -> list[tuple[str, list[_Shown]]]:
        """Session, what is wanted and assumed, room."""
        return [
            ("Power and time", [self._field(entry) for entry in SESSION]),
            ("What is wanted, and what is assumed", [self._field(entry) for entry in WANTED]),
            ("Room", [self._field(entry) for entry in ROOM]),
        ]

    @property
    def heads(self) -> list[str]:
        return [words for _, words in LEVEL]

    @property
    def levels(self) -> list[list[_Shown]]:
        return [
            [self._field(CaseEntry(key, f"{words}, row {n + 1}"), f"level{n}.") for key, words in LEVEL]
            for n in range(LEVELS)
        ]

    @property
    def level_sources(self) -> list[str]:
        """Where the rows of the table came from, each said once."""
        told: dict[str, list[str]] = {}
        for row in self.levels:
            for one in row[1:]:
                if one.hint and one.value:
                    told.setdefault(one.hint, []).append(one.entry.label.replace(", mm", ""))
        return [f"{', '.join(names)}: {hint}" for hint, names in told.items()]

    @property
    def panels(self) -> list[tuple[int, bool, list[_Shown]]]:
        """Number, whether it is used, and the fields of each block."""
        out = []
        for n in range(PANELS):
            fields = [self._field(entry, f"p{n}.") for entry in PANEL]
            out.append((n, any(f.value.strip() or f.wrong for f in fields), fields))
        return out

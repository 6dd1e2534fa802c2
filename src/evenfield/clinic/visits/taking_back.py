"""A visit begun by mistake goes back to planned, as long as the field was never on. Nothing is deleted."""

from django.db import transaction
from django.utils import timezone

from evenfield.clinic.courses.models import Visit, VisitState
from evenfield.clinic.courses.visits import VisitError, unbegin_visit
from evenfield.clinic.visits.models import Kind, VisitEntry
from evenfield.clinic.visits.running import Running, running

_FIELD_ON = ("started", "resumed")


def never_on(run: Running) -> bool:
    """Whether nothing says that the field was on, not even an entry that was corrected since."""
    said = [row.content.get("event", {}) for row in run.rows]
    said += [one["replacement"] for one in said if one.get("replacement")]
    return not any(one.get("kind") in _FIELD_ON for one in said)


def take_back(visit: Visit, reason: str) -> VisitEntry:
    """The visit is planned again; its entries stay, and one more says why they no longer count.

    Raises VisitError where the visit does not run, the field was on, or the reason is missing.
    """
    with transaction.atomic():
        if visit.state != VisitState.RUNNING or visit.started_at is None:
            raise VisitError(f"A visit that is {VisitState(visit.state).label} cannot be taken back.")
        began = visit.started_at
        planned = unbegin_visit(visit, reason)
        if not never_on(running(visit)):
            raise VisitError("The field was on in this visit: stop and close it instead.")
        name = f"back-{visit.pk}-{round(timezone.now().timestamp() * 1000)}"
        content = {"reason": reason.strip(), "began": began.isoformat()}
        return VisitEntry.of(planned, Kind.TAKEN_BACK, name, content)

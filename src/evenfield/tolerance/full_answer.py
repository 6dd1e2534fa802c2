"""The full answer to a what-if: field and heat solved anew, beside the base solved in the same way."""

from __future__ import annotations

from evenfield.applicator import check_placement
from evenfield.case import Case
from evenfield.forecast.engine import setting_of
from evenfield.tolerance.answer import WhatIfAnswer
from evenfield.tolerance.outcome import PlacementOutcome, solve_outcome, table_layout
from evenfield.tolerance.what_if import WhatIf


def full_answer(case: Case, what_if: WhatIf, base: PlacementOutcome | None = None) -> WhatIfAnswer:
    """Solve the changed case, and the base unless its outcome is given (`WhatIfPreview.base`).

    Raises PlacementError for an impossible placement, KeyError for a panel that is not there, ValueError for
    power or minutes not above 0.
    """
    changed = what_if.applied_to(case)
    check_placement(changed.region, changed.placed)
    setting, layout = setting_of(case), table_layout(case)
    known = base or solve_outcome(case, setting, layout, until_s=0.0)
    outcome = solve_outcome(changed, setting, layout, until_s=0.0)
    return WhatIfAnswer(what_if.words(case), outcome, known, None)

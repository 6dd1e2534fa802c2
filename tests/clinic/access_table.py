"""Who may use which route: the rule, stated apart from the code that enforces it.

A new route needs a line here, or `test_access` fails.
"""

from evenfield.clinic.access import Role

NOBODY = "nobody"  # someone who is not signed in
STAFF = frozenset(Role)
ANYONE = frozenset({*Role, NOBODY})
CLINICAL = frozenset({Role.OPERATOR, Role.LEAD, Role.OWNER})
KEEPERS = frozenset({Role.LEAD, Role.OWNER})
OWNER = frozenset({Role.OWNER})
NO_SESSION: frozenset[str] = frozenset()  # whoever is signed in: only a token counts

MAY: dict[str, frozenset[str]] = {
    # accounts
    "sign-in": ANYONE,
    "first-run": ANYONE,
    "set-password": ANYONE,
    "sign-out": STAFF,
    "locked": STAFF,
    "lock-now": STAFF,
    "resume": STAFF,
    "touch": STAFF,
    "own": STAFF,
    "change-password": STAFF,
    "change-pin": STAFF,
    "start-codes": STAFF,
    "stop-codes": STAFF,
    "end-device": STAFF,
    "staff": OWNER,
    "add-staff": OWNER,
    "change-staff": OWNER,
    "new-code": OWNER,
    # audit
    "trail": KEEPERS,
    # pages
    "home": STAFF,
    "about": ANYONE,
    "clinic-settings": OWNER,
    # people
    "people": CLINICAL,
    "add-person": CLINICAL,
    "person": CLINICAL,
    "change-person": CLINICAL,
    "deactivate-person": KEEPERS,
    "come-back": KEEPERS,
    "merge-person": KEEPERS,
    "export-person": KEEPERS,
    "erase-person": OWNER,
    # screening
    "screening": CLINICAL,
    "ask-screening": CLINICAL,
    "decide-screening": frozenset({Role.LEAD}),
    "consent": CLINICAL,
    "withdraw-consent": CLINICAL,
    "take-home": CLINICAL,
    "kept-screening": CLINICAL,
    "consent-text": KEEPERS,
    "screening-questions": KEEPERS,
    # measuring
    "measuring-protocols": CLINICAL,
    "measurements": CLINICAL,
    "start-measuring": CLINICAL,
    "enter-measurements": CLINICAL,
    "kept-measurements": CLINICAL,
    "correct-measurement": CLINICAL,
    # photographs
    "photographs": CLINICAL,
    "take-photograph": CLINICAL,
    "compare-photographs": CLINICAL,
    "picture": CLINICAL,
    "withdraw-photograph": KEEPERS,
    # set-up
    "setup-check": CLINICAL,
    "begin-setup": CLINICAL,
    "tick-setup": CLINICAL,
    # devices
    "devices": STAFF,
    "generic-profile": STAFF,
    "add-device": KEEPERS,
    "change-device": KEEPERS,
    "add-panel": KEEPERS,
    "change-panel": KEEPERS,
    "add-room": KEEPERS,
    "change-room": KEEPERS,
    # courses
    "calendar": CLINICAL,
    "calendar-download": CLINICAL,
    "own-calendar": CLINICAL,
    "end-calendar": CLINICAL,
    "calendar-feed": ANYONE,  # who knows the token
    "open-courses": CLINICAL,
    "person-courses": CLINICAL,
    "booking-rules": KEEPERS,
    "add-course": CLINICAL,
    "change-course": CLINICAL,
    "course-state": CLINICAL,
    "add-visit": CLINICAL,
    "visit": CLINICAL,
    "move-visit": CLINICAL,
    "cancel-visit": CLINICAL,
    "miss-visit": CLINICAL,
    # planning
    "plan-visit": CLINICAL,
    "plan-person": CLINICAL,
    "plan-region": CLINICAL,
    "plan": CLINICAL,
    "change-plan": CLINICAL,
    "save-plan": CLINICAL,
    "plan-file": CLINICAL,
    "plan-in-space": CLINICAL,
    "what-if": CLINICAL,
    "what-if-full": CLINICAL,
    "take-what-if": CLINICAL,
    "plan-placing": CLINICAL,
    "plan-sureness": CLINICAL,
    "plan-advice": CLINICAL,
    "start-job": CLINICAL,
    "job": CLINICAL,
    "cancel-job": CLINICAL,
    "drawing-library": CLINICAL,
    # exchange
    "take-in": KEEPERS,
    "look-take-in": KEEPERS,
    "take-in-template": KEEPERS,
    "send-visit": KEEPERS,
    "send-person": KEEPERS,
    # api: the page of tokens; the operations themselves know no sessions, see MAY_BY_TOKEN
    "api-tokens": CLINICAL,
    "end-api-token": CLINICAL,
    "all-api-tokens": OWNER,
    "api-document": ANYONE,
    "api-nothing": ANYONE,
    "api-find-people": NO_SESSION,
    "api-people": NO_SESSION,
    "api-person": NO_SESSION,
    "api-measurements": NO_SESSION,
    "api-courses": NO_SESSION,
    "api-course": NO_SESSION,
    "api-course-visits": NO_SESSION,
    "api-visits": NO_SESSION,
    "api-visit": NO_SESSION,
    "api-visit-live": NO_SESSION,
    "api-visit-readings": NO_SESSION,
    "api-person-fhir": NO_SESSION,
    "api-visit-fhir": NO_SESSION,
    # upkeep
    "backup": OWNER,
    # visits
    "running-visits": CLINICAL,
    "running-now": CLINICAL,
    "live-visit": CLINICAL,
    "begin-visit": CLINICAL,
    "take-back-visit": CLINICAL,
    "visit-entries": CLINICAL,
    "visit-now": CLINICAL,
    "readings-file": CLINICAL,
    "unwanted-event": CLINICAL,
    "event-reported": CLINICAL,
    "close-visit": CLINICAL,
    "visit-report": CLINICAL,
    "visit-picture": CLINICAL,
    "visit-report-pdf": CLINICAL,
    "next-steps": KEEPERS,
    "practice-profile": KEEPERS,
}

# Operations of the API by method and path, for whoever holds a token that states every permission.
MAY_BY_TOKEN: dict[str, frozenset[str]] = {
    "POST people/find": CLINICAL,
    "POST people": CLINICAL,
    "GET people/{code}": CLINICAL,
    "GET people/{code}/measurements": CLINICAL,
    "POST people/{code}/measurements": CLINICAL,
    "GET people/{code}/courses": CLINICAL,
    "POST people/{code}/courses": CLINICAL,
    "GET courses/{number}": CLINICAL,
    "POST courses/{number}/visits": CLINICAL,
    "GET visits": CLINICAL,
    "GET visits/{number}": CLINICAL,
    "GET visits/{number}/live": CLINICAL,
    "POST visits/{number}/readings": CLINICAL,
    "GET people/{code}/fhir": KEEPERS,
    "GET visits/{number}/fhir": KEEPERS,
}

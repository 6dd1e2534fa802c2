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
    "booking-rules": KEEPERS,
    "add-course": CLINICAL,
    "change-course": CLINICAL,
    "course-state": CLINICAL,
    "add-visit": CLINICAL,
    "visit": CLINICAL,
    "move-visit": CLINICAL,
    "cancel-visit": CLINICAL,
    "miss-visit": CLINICAL,
    # exchange
    "take-in": KEEPERS,
    "look-take-in": KEEPERS,
    "take-in-template": KEEPERS,
    "send-visit": KEEPERS,
    "send-person": KEEPERS,
}

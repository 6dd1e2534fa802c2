"""Month first, 12 hours."""

DATE_FORMAT = "F j, Y"
SHORT_DATE_FORMAT = "M j, Y"
TIME_FORMAT = "g:i a"
DATETIME_FORMAT = "F j, Y, g:i a"
SHORT_DATETIME_FORMAT = "M j, Y, g:i a"
FIRST_DAY_OF_WEEK = 0

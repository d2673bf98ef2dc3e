"""English dates with the month as a word: 2 October 2026 is read the same everywhere."""

DATE_FORMAT = "j F Y"
DATETIME_FORMAT = "j F Y, H:i"
TIME_FORMAT = "H:i"
SHORT_DATE_FORMAT = "j M Y"
SHORT_DATETIME_FORMAT = "j M Y, H:i"
MONTH_DAY_FORMAT = "j F"
YEAR_MONTH_FORMAT = "F Y"
FIRST_DAY_OF_WEEK = 1

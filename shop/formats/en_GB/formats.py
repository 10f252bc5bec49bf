"""British English: the day before the month, hours to 24."""

DATE_FORMAT = "j F Y"
SHORT_DATE_FORMAT = "j M Y"
DATETIME_FORMAT = "j F Y, H:i"
SHORT_DATETIME_FORMAT = "j M Y, H:i"
YEAR_MONTH_FORMAT = "F Y"
TIME_FORMAT = "H:i"
THOUSAND_SEPARATOR = ","
NUMBER_GROUPING = 3

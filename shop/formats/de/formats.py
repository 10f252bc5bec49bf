"""German: a point after the day, a comma before the decimals, a narrow gap between thousands."""

DATE_FORMAT = "j. F Y"
SHORT_DATE_FORMAT = "j. M Y"
DATETIME_FORMAT = "j. F Y, H:i"
SHORT_DATETIME_FORMAT = "j. M Y, H:i"
YEAR_MONTH_FORMAT = "F Y"
TIME_FORMAT = "H:i"
DECIMAL_SEPARATOR = ","
THOUSAND_SEPARATOR = "\N{NARROW NO-BREAK SPACE}"
NUMBER_GROUPING = 3

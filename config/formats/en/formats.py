"""How days and numbers are written: the day first and the month as a word, so no reader takes one for the other."""

DATE_FORMAT = "j M Y"
TIME_FORMAT = "H:i"
DATETIME_FORMAT = "j M Y, H:i"
SHORT_DATE_FORMAT = "Y-m-d"
YEAR_MONTH_FORMAT = "M Y"
MONTH_DAY_FORMAT = "j M"
DATE_INPUT_FORMATS = ["%Y-%m-%d", "%d.%m.%Y", "%d %b %Y", "%d %B %Y"]

"""What every file for spreadsheets keeps to."""


class Line:
    """A file that hands back each line instead of keeping it."""

    def write(self, line):
        return line


def guarded(text: str) -> str:
    """Text that no spreadsheet takes for a formula: such a beginning gets an apostrophe before it.

    Source: OWASP, CSV Injection (https://owasp.org/www-community/attacks/CSV_Injection).
    """
    return f"'{text}" if text[:1] in ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠") else text

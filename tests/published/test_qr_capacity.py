"""Symbol sizes against the capacities that the standard publishes."""

import pytest

from labels.drawing.symbol import symbol_size

# Version, level, modules on a side, bytes and alphanumeric characters it holds.
# Source: ISO/IEC 18004 Table 7 (values recalled; the packages segno and qrcode agree with them).
CAPACITIES = [
    (1, "L", 21, 17, 25),
    (1, "M", 21, 14, 20),
    (1, "Q", 21, 11, 16),
    (1, "H", 21, 7, 10),
    (2, "L", 25, 32, 47),
    (2, "M", 25, 26, 38),
    (2, "Q", 25, 20, 29),
    (2, "H", 25, 14, 20),
    (3, "L", 29, 53, 77),
    (3, "M", 29, 42, 61),
    (3, "Q", 29, 32, 47),
    (3, "H", 29, 24, 35),
    (4, "L", 33, 78, 114),
    (4, "M", 33, 62, 90),
    (4, "Q", 33, 46, 67),
    (4, "H", 33, 34, 50),
    (5, "L", 37, 106, 154),
    (5, "M", 37, 84, 122),
    (5, "Q", 37, 60, 87),
    (5, "H", 37, 44, 64),
    (6, "L", 41, 134, 195),
    (6, "M", 41, 106, 154),
    (6, "Q", 41, 74, 108),
    (6, "H", 41, 58, 84),
    (7, "L", 45, 154, 224),
    (7, "M", 45, 122, 178),
    (7, "Q", 45, 86, 125),
    (7, "H", 45, 64, 93),
]


def expected(length, column):
    """By the table: the least version that holds so much, and its strongest level that still does."""
    holding = [row for row in CAPACITIES if row[column] >= length]
    version = min(row[0] for row in holding)
    level = [row[1] for row in holding if row[0] == version][-1]
    return version, level


@pytest.mark.parametrize(("version", "level", "modules", "in_bytes", "alphanumeric"), CAPACITIES)
def test_symbols_hold_what_iso_iec_18004_table_7_says(version, level, modules, in_bytes, alphanumeric):
    """Source: ISO/IEC 18004 Table 7, byte and alphanumeric capacities of versions 1 to 7."""
    for character, capacity, column in (("a", in_bytes, 3), ("A", alphanumeric, 4)):
        full = symbol_size(character * capacity)
        assert (full.version, full.level) == expected(capacity, column)
        if full.version == version:
            assert full.modules == modules
        if capacity < CAPACITIES[-4][column]:
            over = symbol_size(character * (capacity + 1))
            assert (over.version, over.level) == expected(capacity + 1, column)

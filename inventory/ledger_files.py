"""The ledger of a year as a file for a spreadsheet: written while it is read, so it may be of any length."""

import csv
from collections.abc import Iterator
from typing import BinaryIO

import xlsxwriter
from babel.numbers import get_currency_precision

from inventory.money import round_amount
from inventory.readings.ledger import NOT_TAX_ADVICE, Entry, Totals, entries
from inventory.spreadsheets import Line, guarded

BYTE_ORDER_MARK = "\ufeff"  # tells spreadsheets that it is UTF-8; other programs may trip over it
COLUMNS = [
    "number",
    "day",
    "kind",
    "how",
    "amount",
    "currency",
    "moves money",
    "contact",
    "about",
    "what",
    "note",
]
WIDTHS = [8, 11, 28, 15, 14, 9, 9, 22, 16, 36, 44]
MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"]


def plain(entry: Entry) -> str:
    """``-25.00``: the digits of the currency, and more only where the amount has more."""
    rounded = round_amount(entry.amount, entry.currency)
    return f"{rounded if rounded == entry.amount else entry.amount.normalize():f}"


def csv_lines(year: int | None, *, for_spreadsheets: bool = True) -> Iterator[str]:
    """The lines of the file, by RFC 4180: commas, quotes where they are needed, CRLF. The last says what it is not.

    ``for_spreadsheets`` puts the byte order mark at its beginning, by which they know UTF-8.
    """
    writer = csv.writer(Line(), lineterminator="\r\n")
    yield f"{BYTE_ORDER_MARK if for_spreadsheets else ''}{writer.writerow(COLUMNS)}"
    for entry in entries(year):
        yield writer.writerow(
            [
                entry.number,
                entry.day.isoformat(),
                entry.kind.label,
                entry.method,
                plain(entry),
                entry.currency,
                "yes" if entry.moves_money else "no",
                guarded(entry.contact),
                entry.about_words,
                guarded(entry.what),
                guarded(entry.note),
            ]
        )
    yield writer.writerow(["", "", "", "", "", "", "", "", "", "", NOT_TAX_ADVICE])


def write_xlsx(file: BinaryIO, year: int) -> int:
    """Write the year as a workbook, its lines on one sheet and what they come to on another; returns their number.

    Amounts are numbers in the format of their currency, days are dates. What has been written leaves the memory.
    """
    book = xlsxwriter.Workbook(
        file,
        {
            "constant_memory": True,
            "strings_to_formulas": False,
            "strings_to_urls": False,
            "strings_to_numbers": False,
        },
    )
    book.set_properties({"title": f"Ledger {year}", "comments": NOT_TAX_ADVICE})
    heading, day_format = book.add_format({"bold": True, "bottom": 1}), book.add_format({"num_format": "yyyy-mm-dd"})
    amounts = _AmountFormats(book)
    sheet = book.add_worksheet("Ledger")
    for column, width in enumerate(WIDTHS):
        sheet.set_column(column, column, width)
    sheet.freeze_panes(1, 0)
    for column, name in enumerate(COLUMNS):
        sheet.write_string(0, column, name.capitalize(), heading)
    totals, row = Totals.none(), 0
    for row, entry in enumerate(entries(year), 1):
        totals.add(entry)
        sheet.write_number(row, 0, entry.number)
        sheet.write_datetime(row, 1, entry.day, day_format)
        sheet.write_string(row, 2, entry.kind.label)
        sheet.write_string(row, 3, entry.method)
        sheet.write_number(row, 4, float(entry.amount), amounts.of(entry.currency))
        sheet.write_string(row, 5, entry.currency)
        sheet.write_string(row, 6, "yes" if entry.moves_money else "no")
        sheet.write_string(row, 7, entry.contact)
        sheet.write_string(row, 8, entry.about_words)
        sheet.write_string(row, 9, entry.what)
        sheet.write_string(row, 10, entry.note)
    _write_totals(book.add_worksheet("Totals"), totals, year, heading=heading, amounts=amounts)
    book.close()
    return row


class _AmountFormats:
    """The number format of each currency: its digits, and its code behind."""

    def __init__(self, book):
        self.book, self.made = book, {}

    def of(self, currency: str):
        if currency not in self.made:
            digits = get_currency_precision(currency)
            number = "#,##0" + ("." + "0" * digits if digits else "")
            written = f'{number}" {currency}"'
            self.made[currency] = self.book.add_format({"num_format": f"{written};[Red]-{written}"})
        return self.made[currency]


def _write_totals(sheet, totals: Totals, year: int, *, heading, amounts) -> None:
    """By currency what each kind comes to, in all and month by month; amounts in currencies of their own lines."""
    sheet.set_column(0, 0, 36)
    sheet.set_column(1, 13, 14)
    sheet.write_string(0, 0, f"Ledger {year}", heading)
    sheet.write_string(1, 0, NOT_TAX_ADVICE)
    row = 3
    for currency in totals.currencies:
        money = amounts.of(currency)
        for column, name in enumerate([currency, "Year", *MONTHS]):
            sheet.write_string(row, column, name, heading)
        months = dict(totals.by_month(currency))
        for kind in totals.kinds_in(currency):
            row += 1
            sheet.write_string(row, 0, kind.label)
            sheet.write_number(row, 1, float(totals.kinds[currency, kind]), money)
            for month, by_kind in months.items():
                if kind in by_kind:
                    sheet.write_number(row, 1 + month, float(by_kind[kind]), money)
        row += 1
        sheet.write_string(row, 0, "All that moved money", heading)
        sheet.write_number(row, 1, float(totals.money(currency)), money)
        for month in months:
            sheet.write_number(row, 1 + month, float(totals.money(currency, month)), money)
        row += 2
    if not totals.lines:
        sheet.write_string(row, 0, "No money moved in this year.")

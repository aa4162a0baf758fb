from pathlib import Path

from django.core.management.base import CommandError

from inventory.ledger_files import csv_lines, write_xlsx
from inventory.money import write_amount
from inventory.readings.books import PaidBack, books
from inventory.readings.ledger import NOT_TAX_ADVICE, Kind, totals_of_year
from propagation.dates import day_in_words
from propagation.errors import BadValue
from propagation.management.asked_files import write_asked_for
from propagation.management.keeper_command import KeeperCommand

EARLIEST, LATEST = 1900, 2999
SUFFIXES = (".csv", ".xlsx")


def year_of(text: str) -> int:
    if not (text.isascii() and text.isdigit() and EARLIEST <= int(text[:9]) <= LATEST):
        raise CommandError(f"“{text}” is no year; write it as 2026.")
    return int(text)


class Command(KeeperCommand):
    help = "Say what each line cost and gave; with --year what money moved in it; with --out write that year's ledger."

    def add_arguments(self, parser):
        parser.add_argument("--year", type=year_of, metavar="YEAR", help="The ledger of this year.")
        parser.add_argument("--out", type=Path, metavar="FILE", help="Write the ledger as a .csv or .xlsx file.")
        parser.add_argument(
            "--without-mark", action="store_true", help="A .csv without the mark by which spreadsheets know UTF-8."
        )

    def answer(self, *, year, out, without_mark, **options):
        self.is_ledger = year is not None or out is not None
        if not self.is_ledger:
            return self.answer_books()
        year = self.today.year if year is None else year
        file = {}
        if out is not None:
            write(out, year, for_spreadsheets=not without_mark)
            file = {"file": str(out)}
        return self.answer_ledger(year) | file

    def answer_books(self):
        found = books(self.today)
        self.currency = found.currency
        return [
            {
                "lineage": line.lineage.name,
                "paid": None if line.account.unknown_costs else line.account.cost,
                "came_in": line.account.came_in,
                "owed": line.account.owed,
                "currency": found.currency,
                "paid_back": line.account.pay_back.state,
                "paid_back_on": line.account.pay_back.on,
                "to_go": line.account.pay_back.to_go if line.account.pay_back.state == PaidBack.NOT_YET else None,
                "cut": line.account.frags.cut,
                "kept": line.account.frags.kept,
                "lost": line.account.frags.dead,
                "sold": line.account.frags.sold,
                "traded": line.account.frags.traded,
                "given": line.account.frags.given,
                "for_sale": line.account.frags.for_sale,
            }
            for line in found.lines
        ]

    def answer_ledger(self, year):
        totals = totals_of_year(year)
        return {
            "year": year,
            "lines": totals.lines,
            "totals": [
                {
                    "currency": currency,
                    "kinds": {kind.value: totals.kinds[currency, kind] for kind in totals.kinds_in(currency)},
                    "money": totals.money(currency),
                    "credit": totals.credit(currency),
                }
                for currency in totals.currencies
            ],
            "not_tax_advice": NOT_TAX_ADVICE,
        }

    def lines(self, answer):
        if self.is_ledger:
            yield from self.lines_of_ledger(answer)
            return
        if not answer:
            yield "No line is kept yet."
            return
        names = max(len("Line"), *(len(line["lineage"]) for line in answer))
        counts = ("cut", "kept", "lost", "sold")
        yield (
            f"{'Line':<{names}}  {'  '.join(f'{name.capitalize():>5}' for name in counts)}  "
            f"{'Paid':>10}  {'Came in':>10}  Paid for itself"
        )
        for line in answer:
            paid = "not known" if line["paid"] is None else write_amount(line["paid"], self.currency)
            yield (
                f"{line['lineage']:<{names}}  {'  '.join(f'{line[name]:>5}' for name in counts)}  "
                f"{paid:>10}  {write_amount(line['came_in'], self.currency):>10}  {self.paid_back(line)}"
            )

    def paid_back(self, line):
        match line["paid_back"]:
            case PaidBack.YES:
                return f"on {day_in_words(line['paid_back_on'])}"
            case PaidBack.NOT_YET:
                return f"not yet, {write_amount(line['to_go'], self.currency)} to go"
            case PaidBack.NOTHING_PAID:
                return "nothing was paid"
            case _:
                return "–"

    def lines_of_ledger(self, answer):
        if not answer["lines"]:
            yield f"No money moved in {answer['year']}."
        for each in answer["totals"]:
            yield f"{answer['year']}, {each['currency']}"
            sums = [(Kind(kind).label, amount) for kind, amount in each["kinds"].items()]
            sums += [("Money in all", each["money"])]
            sums += [("Credit in all", each["credit"])] if each["credit"] else []
            names = max(len(name) for name, _ in sums)
            for name, amount in sums:
                yield f"  {name:<{names}}  {write_amount(amount, each['currency']):>14}"
        if "file" in answer:
            yield f"{answer['lines']} {'line' if answer['lines'] == 1 else 'lines'}, in {answer['file']}"
        yield NOT_TAX_ADVICE


def write(path: Path, year: int, *, for_spreadsheets: bool) -> None:
    """Write the ledger of a year so that the file is there whole or not at all. Raises BadValue for no such file."""
    if path.suffix.lower() not in SUFFIXES:
        raise BadValue(f"“{path.name}” is neither .csv nor .xlsx; name the file like ledger-{year}.xlsx.", field="out")
    if not path.parent.is_dir():
        raise BadValue(f"There is no folder “{path.parent}” for the ledger.", field="out")

    def fill(draft):
        with draft.open("wb") as file:
            if path.suffix.lower() == ".xlsx":
                write_xlsx(file, year)
            else:
                file.writelines(line.encode() for line in csv_lines(year, for_spreadsheets=for_spreadsheets))

    write_asked_for(path, fill)

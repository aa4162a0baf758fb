"""Which stocks there are, and which one the keeper used last."""

import re

from labels.errors import NoSuchStock
from labels.models import LabelStock, PrintRun
from propagation.readings.find import near

FIRST_STOCK = "A4, 5 × 13, 38.1 × 21.2 mm"  # offered before anything was printed


def plain_name(name: str) -> str:
    """A stock's name as a keyboard writes it: ``a4,3x8,70x37mm`` for ``A4, 3 × 8, 70 × 37 mm``."""
    return re.sub(r"\s+", "", name).replace("×", "x").casefold()


def find_stock(name: str) -> LabelStock:
    """The stock of this name, typed with × or x, with spaces or without. Raises NoSuchStock with the nearest names."""
    stocks = {plain_name(stock.name): stock for stock in LabelStock.objects.all()}
    stock = stocks.get(plain_name(name))
    if stock is None:
        names = [stocks[plain].name for plain in near(plain_name(name), stocks)]
        hint = f" Did you mean “{'” or “'.join(names)}”?" if names else " See 'manage.py stocks'."
        raise NoSuchStock(f"There is no label stock “{name.strip()}”.{hint}", field="stock")
    return stock


def last_run() -> PrintRun | None:
    """The latest print run, whose stock and resolution are offered again."""
    return PrintRun.objects.select_related("stock").first()

"""How fast labels are drawn, beside the bare cost of their QR and beside reportlab's own QR widget.

    python tests/speed/bench_labels.py

Everything is measured in one run on one machine, in processor time; the ratios are what counts. The bare cost is the
least any label with a QR can take: the qrcode package makes the matrix with its version and mask given, and its dark
modules are drawn as one path of rectangles in a reportlab page. Letting the package choose the mask, as it does when
not told, is shown too.
"""

import gc
import io
import random
import sys
import time
from datetime import date
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import qrcode
from reportlab.graphics import renderPDF
from reportlab.graphics.barcode.qr import QrCodeWidget
from reportlab.graphics.shapes import Drawing
from reportlab.pdfgen.canvas import Canvas

from labels.drawing.content import LabelContent
from labels.drawing.sheet import draw_labels
from labels.drawing.stock import StockGeometry
from labels.drawing.symbol import _LEVELS, symbol_size

LABELS = 1200
REPEATS = 5
SLOW_LABELS = 150
ALPHABET = "23456789ABCDEFGHJKMNPQRSTWXYZ"
SHEET = StockGeometry("A4, 3 × 8, 70 × 37 mm", "sheet", 210, 297, 70, 37, 3, 8, 0, 0.5, 70, 37)
ROLL = StockGeometry("Roll, 38 × 19 mm", "roll", 38, 19, 38, 19, 1, 1, 0, 0, 38, 19)
NAMES = [
    "Ember Table",
    "Night Lantern",
    "Golden Staghorn of the outer reef crest",
    "珊瑚礁之光",
    "مرجان أزرق",
    "Желтая",
]


def some_contents(count, seed=1):
    """Labels of one evening: a handful of mothers, every code another."""
    chance = random.Random(seed)
    contents = []
    for number in range(count):
        code = "".join(chance.choices(ALPHABET, k=8))
        mother = number * 30 // count
        contents.append(
            LabelContent(
                address=f"HTTPS://RAMET.EXAMPLE/Q/{code}",
                code=f"{code[:4]}-{code[4:]}",
                lineage=NAMES[mother % len(NAMES)],
                cut_on=date(2026, 11, 25),
                mother=f"AC-{mother:02d}",
            )
        )
    return contents


def bare_matrix(address, mask):
    size = symbol_size(address)
    maker = qrcode.QRCode(version=size.version, error_correction=_LEVELS[size.level], border=0, mask_pattern=mask)
    maker.add_data(address, optimize=0)
    maker.make(fit=False)
    return maker.modules


def draw_bare(addresses, mask=0):
    """The floor: matrix and one path, nothing else on the page."""
    canvas = Canvas(io.BytesIO(), pageCompression=1, invariant=1)
    for number, address in enumerate(addresses):
        parts = []
        for row, modules in enumerate(bare_matrix(address, mask)):
            begin = None
            for column, dark in enumerate([*modules, False]):
                if dark and begin is None:
                    begin = column
                elif not dark and begin is not None:
                    parts.append(f"{begin} {row} {column - begin} 1 re")
                    begin = None
        canvas.addLiteral(f"q 1 0 0 1 0 0 cm {' '.join(parts)} f Q")
        if number % 24 == 23:
            canvas.showPage()
    canvas.save()


def draw_widgets(addresses):
    """The same symbols by reportlab's own widget."""
    canvas = Canvas(io.BytesIO(), pageCompression=1, invariant=1)
    for number, address in enumerate(addresses):
        drawing = Drawing(80, 80)
        drawing.add(QrCodeWidget(address, barLevel=symbol_size(address).level))
        renderPDF.draw(drawing, canvas, 0, 0)
        if number % 24 == 23:
            canvas.showPage()
    canvas.save()


def quickest(*acts):
    """Processor seconds of the quickest run of each; they take turns, so that a busy machine disturbs all alike."""
    times = [[] for _ in acts]
    for _ in range(REPEATS):
        for act, its in zip(acts, times, strict=True):
            gc.collect()
            begin = time.process_time()
            act()
            its.append(time.process_time() - begin)
    return [min(its) for its in times]


def main():
    contents = some_contents(LABELS)
    addresses = [content.address for content in contents]
    draw_labels(contents[:24], stock=SHEET)  # fonts are opened once in the life of a process

    drawn = draw_labels(contents, stock=SHEET)
    on_roll = draw_labels(contents, stock=ROLL, dpi=203)
    one_sheet = draw_labels(contents[:24], stock=SHEET)
    sheet, roll, bare, chosen, widget = quickest(
        lambda: draw_labels(contents, stock=SHEET),
        lambda: draw_labels(contents, stock=ROLL, dpi=203),
        lambda: draw_bare(addresses),
        lambda: draw_bare(addresses[:SLOW_LABELS], mask=None),
        lambda: draw_widgets(addresses[:SLOW_LABELS]),
    )
    sheet, roll, bare = sheet / LABELS, roll / LABELS, bare / LABELS
    chosen, widget = chosen / SLOW_LABELS, widget / SLOW_LABELS

    print(f"labels on sheets            {1 / sheet:8.0f} a second   bar ≥ 300")
    print(f"labels on a roll            {1 / roll:8.0f} a second   (one page each)")
    print(f"bare matrix and one path    {1 / bare:8.0f} a second   version and mask given")
    print(f"the same, mask chosen by it {1 / chosen:8.0f} a second   best of eight, as ISO/IEC 18004 asks and we do")
    print(f"reportlab's QR widget       {1 / widget:8.0f} a second")
    print(f"ratio to the bare cost      {sheet / bare:8.2f} ×          bar ≤ 1.5")
    print(f"ratio with mask chosen      {sheet / chosen:8.2f} ×")
    print(f"against reportlab's widget  {widget / sheet:8.1f} × faster   bar ≥ 5")
    print(f"bytes a label, {LABELS} on sheets {len(drawn.pdf) / LABELS:6.0f}            bar < 1200")
    print(f"bytes a label, {LABELS} on a roll {len(on_roll.pdf) / LABELS:6.0f}            bar < 1200")
    print(f"bytes of one sheet of 24    {len(one_sheet.pdf):8d}            fonts weigh most")


if __name__ == "__main__":
    main()

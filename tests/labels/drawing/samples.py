"""What the drawing tests share: the shipped stocks, names in many scripts, and a printer's raster."""

import json
from datetime import date
from math import ceil
from pathlib import Path

import numpy as np
import pypdfium2

from labels.drawing.content import LabelContent
from labels.drawing.stock import StockGeometry

FIXTURE = Path(__file__).resolve().parents[3] / "fixtures" / "label_stocks.json"
STOCKS = [StockGeometry(**entry["fields"]) for entry in json.loads(FIXTURE.read_text(encoding="utf-8"))]

NAMES = {
    "short": "Ember Table",
    "one letter": "Q",
    "long": "Night Lantern of the long winter reef crest, second line from the outer lagoon, third restart",
    "long word": "Zwischenriffkantenverzweigungssteinkoralle",
    "Vietnamese": "San hô đỏ của Nguyễn",
    "Greek": "Κοράλλι της νύχτας",
    "Cyrillic": "Жёлтая ветвистая",
    "Chinese": "珊瑚礁之光 深海蓝色的长名字要换行才放得下",
    "Japanese": "青いサンゴ礁の枝",
    "Korean": "푸른 산호초 가지",
    "Arabic": "مرجان أزرق فاتح",
    "Hebrew": "אלמוג כחול AC-3 (שני)",
    "Thai": "ปะการังสีน้ำเงิน",
    "Devanagari": "नीला मूंगा शाखा",
    "Bengali": "নীল প্রবাল",
    "Tamil": "நீல பவளம்",
    "Khmer": "ផ្កាថ្មពណ៌ខៀវ",
    "Armenian": "Կապույտ մարջան",
    "Georgian": "ლურჯი მარჯანი",
    "Ethiopic": "ሰማያዊ ኮራል",
    "symbols": "★ Neon ♥ → ½ µ № 🐠",
}


def content(code="K7M42QXP", lineage=NAMES["short"], mother="AC-07", **fields):
    """One label with the code in its address and in clear."""
    return LabelContent(
        address=f"HTTPS://RAMET.EXAMPLE/Q/{code}",
        code=f"{code[:4]}-{code[4:]}",
        lineage=lineage,
        mother=mother,
        **{"cut_on": date(2026, 11, 25), **fields},
    )


def raster(pdf: bytes, page: int, dpi: float) -> np.ndarray:
    """A page as a printer with black dots only would print it: True where a dot is burnt.

    The page lies at the top left of the raster at exactly this resolution; pypdfium2's own `render` would stretch it
    to the next whole dot.
    """
    with pypdfium2.PdfDocument(pdf) as document:
        sheet = document[page]
        width, height = sheet.get_size()
        dots = ceil(width * dpi / 72), ceil(height * dpi / 72)
        bitmap = pypdfium2.PdfBitmap.new_native(*dots, pypdfium2.raw.FPDFBitmap_Gray)
        bitmap.fill_rect((255, 255, 255, 255), 0, 0, *dots)
        scale = dpi / 72
        pypdfium2.raw.FPDF_RenderPageBitmapWithMatrix(
            bitmap,
            sheet,
            pypdfium2.raw.FS_MATRIX(scale, 0, 0, scale, 0, 0),
            pypdfium2.raw.FS_RECTF(0, 0, *dots),
            0,
        )
        image = bitmap.to_numpy()
        return image.reshape(image.shape[0], image.shape[1]) < 128

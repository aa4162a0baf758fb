"""Reading papers back with programs that did not draw them: pypdfium2 for text and structure, zxing-cpp for codes."""

import ctypes
import io

import numpy as np
import pypdfium2
import pypdfium2.raw as pdfium
import zxingcpp
from PIL import Image


def texts(pdf: bytes) -> list[str]:
    """The text of each page, its words parted by single spaces."""
    with pypdfium2.PdfDocument(pdf) as document:
        return [" ".join(page.get_textpage().get_text_range().split()) for page in document]


def text(pdf: bytes) -> str:
    return " ".join(texts(pdf))


def codes(pdf: bytes, *, dpi: float = 300) -> list[str]:
    """What the QR codes say, page by page, from a PNG of each page."""
    found = []
    with pypdfium2.PdfDocument(pdf) as document:
        for page in document:
            png = io.BytesIO()
            page.render(scale=dpi / 72).to_pil().convert("L").save(png, "PNG")
            pixels = np.array(Image.open(io.BytesIO(png.getvalue())))
            found += [each.text for each in zxingcpp.read_barcodes(pixels)]
    return found


def sizes_mm(pdf: bytes) -> set[tuple[float, float]]:
    """Width and height of the pages."""
    with pypdfium2.PdfDocument(pdf) as document:
        return {tuple(round(side * 25.4 / 72, 1) for side in page.get_size()) for page in document}


def metadata(pdf: bytes) -> dict:
    with pypdfium2.PdfDocument(pdf) as document:
        return document.get_metadata_dict()


def is_tagged(pdf: bytes) -> bool:
    with pypdfium2.PdfDocument(pdf) as document:
        return bool(pdfium.FPDFCatalog_IsTagged(document.raw))


def language(pdf: bytes) -> str:
    with pypdfium2.PdfDocument(pdf) as document:
        return _said(pdfium.FPDFCatalog_GetLanguage, document.raw)


def structure(pdf: bytes, page: int = 0) -> list[tuple[str, str]]:
    """``(type, alternative text)`` of every part of the structure that has something on a page, parents first."""
    with pypdfium2.PdfDocument(pdf) as document:
        sheet = document[page]
        tree = pdfium.FPDF_StructTree_GetForPage(sheet.raw)
        waiting = [
            pdfium.FPDF_StructTree_GetChildAtIndex(tree, at)
            for at in reversed(range(pdfium.FPDF_StructTree_CountChildren(tree)))
        ]
        found = []
        while waiting:
            element = waiting.pop()
            if not element:
                continue
            kind = _said(pdfium.FPDF_StructElement_GetType, element)
            found.append((kind, _said(pdfium.FPDF_StructElement_GetAltText, element)))
            count = pdfium.FPDF_StructElement_CountChildren(element)
            waiting += [pdfium.FPDF_StructElement_GetChildAtIndex(element, at) for at in reversed(range(count))]
        pdfium.FPDF_StructTree_Close(tree)
        sheet.close()
        return found


def _said(ask, handle) -> str:
    length = ask(handle, None, 0)
    buffer = (ctypes.c_ushort * (length // 2))()
    ask(handle, buffer, length)
    return bytes(buffer).decode("utf-16-le").rstrip("\0")

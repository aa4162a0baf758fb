"""Pages of a paper: where the pen stands, what is told to screen readers, and the PDF that comes of it.

Lengths are points, x to the right and y downwards from the page's top left corner. Everything drawn is either marked
with its place in the structure of the document (ISO 32000-1 §14.8) or an artifact, which a screen reader passes over.
reportlab writes neither by itself: the marks stand in the page's operators, and the tree is added to its document.
"""

import hashlib
import io
from dataclasses import dataclass, field
from typing import NamedTuple

from PIL import Image, ImageOps
from reportlab import rl_config
from reportlab.pdfbase import pdfdoc
from reportlab.pdfgen.canvas import Canvas

from labels.drawing.stock import A4_MM, LETTER_MM
from labels.drawing.typesetting import Line, Typesetter

POINTS_PER_MM = 72 / 25.4
LANGUAGE = "en"
DOTS_PER_POINT = 300 / 72  # pictures finer than a printer's 300 dpi only make the file larger

# Streams as 7-bit text make a PDF a quarter larger and serve no reader of today.
rl_config.useA85 = 0


class Ink(NamedTuple):
    """A colour as red, green and blue from 0 to 255; those of the pages on a screen (ramet.css)."""

    red: int
    green: int
    blue: int

    @property
    def numbers(self) -> str:
        return " ".join(f"{each / 255:.3f}" for each in self)


INK = Ink(0x13, 0x24, 0x2B)
SOFT = Ink(0x42, 0x54, 0x5B)
RULE = Ink(0xC6, 0xCF, 0xC6)
SUNK = Ink(0xF1, 0xF4, 0xEE)
MARKER = Ink(0xD6, 0xF2, 0x4A)
BLACK = Ink(0, 0, 0)


@dataclass(frozen=True)
class PaperSize:
    """A size of office paper, in mm."""

    name: str
    words: str
    width_mm: float
    height_mm: float

    @property
    def width(self) -> float:
        return self.width_mm * POINTS_PER_MM

    @property
    def height(self) -> float:
        return self.height_mm * POINTS_PER_MM


A4 = PaperSize("a4", "A4", *A4_MM)
LETTER = PaperSize("letter", "Letter", *LETTER_MM)
SIZES = {size.name: size for size in (A4, LETTER)}


@dataclass(eq=False)
class Tag:
    """A part of the document's structure: its kind (P, H1, Table, TR, TH, TD, Figure …) and what lies in it."""

    kind: str
    alt: str = ""
    columns: int = 1  # that a cell of a table goes over
    kids: list = field(default_factory=list)  # of Tag, or (page, number of the marked content on it)

    def add(self, kind: str, alt: str = "", *, columns: int = 1) -> "Tag":
        kid = Tag(kind, alt, columns)
        self.kids.append(kid)
        return kid


@dataclass
class Page:
    """One page: its operators, which tag each marked content belongs to, and its pictures."""

    number: int
    height: float
    operators: list[str] = field(default_factory=list)
    marked: list[Tag] = field(default_factory=list)
    pictures: list[str] = field(default_factory=list)

    def draw(self, operators: str, tag: Tag | None = None) -> None:
        """Draw for a tag, or as an artifact."""
        if tag is None:
            self.operators.append(f"/Artifact BMC {operators} EMC")
            return
        self.operators.append(f"/{tag.kind} <</MCID {len(self.marked)}>> BDC {operators} EMC")
        tag.kids.append((self.number, len(self.marked)))
        self.marked.append(tag)

    def text(self, line: Line, x: float, baseline: float, size: float, ink: Ink) -> str:
        """Operators of a line of text."""
        return f"{ink.numbers} rg BT {line.operators(x, self.height - baseline, size)} ET"

    def block(self, x: float, y: float, width: float, height: float, ink: Ink) -> None:
        """A filled rectangle, as an artifact."""
        self.draw(f"{ink.numbers} rg {x:.3f} {self.height - y - height:.3f} {width:.3f} {height:.3f} re f")

    def rule(self, x: float, y: float, width: float, ink: Ink = RULE, thickness: float = 0.5) -> None:
        """A level line, as an artifact."""
        at = self.height - y
        self.draw(f"{ink.numbers} RG {thickness:g} w {x:.3f} {at:.3f} m {x + width:.3f} {at:.3f} l S")

    def picture(self, name: str, x: float, y: float, width: float, height: float, tag: Tag) -> None:
        """A picture that was added to the book under this name."""
        if name not in self.pictures:
            self.pictures.append(name)
        at = self.height - y - height
        name = pdfdoc.xObjectName(name)
        self.draw(f"q {width:.3f} 0 0 {height:.3f} {x:.3f} {at:.3f} cm /{name} Do Q", tag)


@dataclass(frozen=True)
class Jpeg:
    """A picture fit to be embedded: upright, in grey or in red, green and blue."""

    data: bytes
    width: int
    height: int
    is_grey: bool

    @property
    def name(self) -> str:
        return hashlib.sha256(self.data).hexdigest()[:16]


def fit_jpeg(data: bytes, *, within: float) -> Jpeg | None:
    """A JPEG, no finer than needed to fill a square of so many points; None for data that is no picture."""
    most = round(within * DOTS_PER_POINT)
    try:
        with Image.open(io.BytesIO(data)) as picture:
            upright = ImageOps.exif_transpose(picture)
            is_fit = picture.format == "JPEG" and upright.mode in ("L", "RGB") and not picture.getexif()
            if is_fit and max(upright.size) <= most:
                return Jpeg(data, *upright.size, is_grey=upright.mode == "L")
            upright = upright if upright.mode in ("L", "RGB") else upright.convert("RGB")
            upright.thumbnail((most, most))
            draft = io.BytesIO()
            upright.save(draft, "JPEG", quality=88)
            return Jpeg(draft.getvalue(), *upright.size, is_grey=upright.mode == "L")
    except (OSError, ValueError, Image.DecompressionBombError):
        return None


class Book:
    """The pages of one PDF with their structure."""

    def __init__(self, size: PaperSize):
        self.size = size
        self.pages: list[Page] = []
        self.root = Tag("Document")
        self._jpegs: dict[str, Jpeg] = {}

    def turn(self) -> Page:
        """Begin a page."""
        self.pages.append(Page(len(self.pages), self.size.height))
        return self.pages[-1]

    def keep_picture(self, jpeg: Jpeg) -> str:
        """The name under which pages may show a picture; the same picture is embedded once."""
        self._jpegs[jpeg.name] = jpeg
        return jpeg.name

    def write(
        self, typesetter: Typesetter, *, title: str, author: str = "", subject: str = "", as_it_is: bool = False
    ) -> bytes:
        """The PDF. The same pages give the same bytes; with ``as_it_is`` viewers are asked not to scale it in print."""
        buffer = io.BytesIO()
        canvas = Canvas(
            buffer,
            pagesize=(self.size.width, self.size.height),
            pageCompression=1,
            invariant=1,
            pdfVersion=(1, 7),
            lang=LANGUAGE,
        )
        document = canvas._doc
        # reportlab begins every page in Helvetica, which it does not embed; nothing here is set in it.
        canvas._preamble = ""
        document.idToObject["BasicFonts"].dict.clear()
        canvas.setTitle(title)
        canvas.setAuthor(author)
        canvas.setSubject(subject)
        canvas.setCreator("Ramet")
        canvas.setViewerPreference("DisplayDocTitle", "true")
        if as_it_is:
            canvas.setViewerPreference("PrintScaling", "None")
        for name, jpeg in sorted(self._jpegs.items()):
            document.Reference(_picture(jpeg), pdfdoc.xObjectName(name))
        for page in self.pages:
            canvas.addLiteral("\n".join(page.operators))
            canvas._formsinuse = list(page.pictures)
            canvas.showPage()
        typesetter.embed(document)
        self._add_structure(document)
        canvas.save()
        return buffer.getvalue()

    def _add_structure(self, document):
        leaves = document.Pages.pages
        for page, leaf in zip(self.pages, leaves, strict=True):
            leaf.__NoDefault__ = [*leaf.__NoDefault__, "StructParents", "Tabs"]
            leaf.StructParents, leaf.Tabs = page.number, pdfdoc.PDFName("S")
        root = pdfdoc.PDFDictionary({"Type": pdfdoc.PDFName("StructTreeRoot")})
        root_reference = document.Reference(root, "structure")
        references = {}
        root.dict["K"] = _structure(document, self.root, root_reference, leaves, references)
        parents = []
        for page in self.pages:
            parents += [page.number, pdfdoc.PDFArray([references[tag] for tag in page.marked])]
        numbers = pdfdoc.PDFDictionary({"Nums": pdfdoc.PDFArray(parents)})
        root.dict["ParentTree"] = document.Reference(numbers, "structureParents")
        root.dict["ParentTreeNextKey"] = len(self.pages)
        document.Catalog.StructTreeRoot = root
        document.Catalog.MarkInfo = pdfdoc.PDFDictionary({"Marked": "true"})


def _structure(document, tag, parent, leaves, references):
    """Add a tag and all below it to a document; the reference to it."""
    element = pdfdoc.PDFDictionary({"Type": pdfdoc.PDFName("StructElem"), "S": pdfdoc.PDFName(tag.kind), "P": parent})
    reference = references[tag] = document.Reference(element, f"tag{len(references)}")
    if tag.alt:
        element.dict["Alt"] = pdfdoc.PDFString(tag.alt)
    if tag.kind == "TH" or tag.columns > 1:
        told = {"Scope": pdfdoc.PDFName("Column")} if tag.kind == "TH" else {"ColSpan": tag.columns}
        element.dict["A"] = pdfdoc.PDFDictionary({"O": pdfdoc.PDFName("Table")} | told)
    kids = []
    for kid in tag.kids:
        if isinstance(kid, Tag):
            kids.append(_structure(document, kid, reference, leaves, references))
        else:
            page, number = kid
            on = document.Reference(leaves[page])
            kids.append(pdfdoc.PDFDictionary({"Type": pdfdoc.PDFName("MCR"), "Pg": on, "MCID": number}))
    element.dict["K"] = pdfdoc.PDFArray(kids)
    return reference


def _picture(jpeg):
    stream = pdfdoc.PDFStream(content=jpeg.data)
    stream.dictionary.dict.update(
        {
            "Type": pdfdoc.PDFName("XObject"),
            "Subtype": pdfdoc.PDFName("Image"),
            "Width": jpeg.width,
            "Height": jpeg.height,
            "ColorSpace": pdfdoc.PDFName("DeviceGray" if jpeg.is_grey else "DeviceRGB"),
            "BitsPerComponent": 8,
            "Filter": pdfdoc.PDFName("DCTDecode"),
        }
    )
    return stream

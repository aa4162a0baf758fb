"""What parts each paper is made of, and the PDF of one paper or a bundle."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import singledispatch

from labels.drawing.errors import NothingToDraw
from labels.drawing.faces import DETAIL, NAME
from labels.drawing.typesetting import Typesetter, tidy

from .contents import (
    TITLES,
    CareNote,
    Certificate,
    PackingList,
    Paper,
    Receipt,
    Seller,
    Sum,
    Thing,
    TradeReceipt,
    written,
)
from .pages import POINTS_PER_MM, Book, PaperSize, fit_jpeg
from .parts import (
    BODY,
    FIGURES,
    FINE,
    SMALL,
    Box,
    Bullets,
    Column,
    Facts,
    Heading,
    Identity,
    Notice,
    Paragraph,
    Pen,
    Row,
    Shown,
    Sides,
    Sums,
    Symbol,
    Symbols,
    Table,
    Timeline,
    Top,
    Typist,
    Words,
    code,
    latin,
    soft,
    strong,
    symbols_in,
    words_in,
)

PICTURE_SIDE = 46 * POINTS_PER_MM
CODE_WIDTH = 62.0


@dataclass(frozen=True)
class DrawnPapers:
    """A finished PDF, how many pages it has, and characters that no font here has."""

    pdf: bytes
    pages: int
    missing: tuple[str, ...] = ()


def draw_papers(papers: Sequence[Paper], *, size: PaperSize, title: str) -> DrawnPapers:
    """Draw papers one after another, each beginning on a page of its own and numbered by itself.

    The same papers give the same bytes. Raises NothingToDraw for none, AddressTooLong for an address no QR holds.
    """
    if not papers:
        raise NothingToDraw
    book = Book(size)
    composed = [(paper, [part for part in compose(paper, book) if part is not None]) for paper in papers]
    feet = [_foot(paper) for paper, _ in composed]
    typesetter = Typesetter(_texts([*(parts for _, parts in composed), feet, [soft(FIGURES, FINE)]]))
    typist = Typist(typesetter)
    symbols = Symbols(list(symbols_in([parts for _, parts in composed])))
    for (_, parts), foot in zip(composed, feet, strict=True):
        pen = Pen(book, typist, book.root.add("Sect"))
        for part in parts:
            part.put(pen, symbols)
        _number(pen, foot)
    keeper = next((paper.head.keeper for paper in papers if paper.head.keeper), "")
    pdf = book.write(typesetter, title=tidy(title), author=tidy(keeper), subject=", ".join(_kinds(papers)))
    return DrawnPapers(pdf, len(book.pages), tuple(sorted(typesetter.missing)))


def _kinds(papers):
    return dict.fromkeys(TITLES[type(paper)] for paper in papers)


def _texts(parts):
    texts = {DETAIL: set()}
    for words in words_in(parts):
        texts.setdefault(words.style, set()).add(tidy(words.text))
    return texts


def _foot(paper):
    told = [TITLES[type(paper)], paper.head.reference, paper.head.keeper]
    return soft(" · ".join(filter(None, told)), FINE)


def _number(pen, foot):
    """The foot of every page of a paper: what it is, and which of how many."""
    for number, page in enumerate(pen.pages, start=1):
        number_words = pen.typist.set(soft(f"{number} of {len(pen.pages)}", FINE), 80)
        words = pen.typist.set(foot, pen.width - number_words.width - 30)
        y = pen.bottom + 16
        page.rule(pen.left, y - 6, pen.width)
        for setting, x in ((words, pen.left), (number_words, pen.left + pen.width - number_words.width)):
            for at, line in enumerate(setting.lines):
                baseline = y + setting.first + at * setting.leading
                page.draw(page.text(line, x, baseline, setting.size, setting.ink))


# What every paper has ------------------------------------------------------------------------------------------------


def _top(paper, lead: str = ""):
    head = paper.head
    if not lead:
        lead = " · ".join(filter(None, [head.recipient and f"for {head.recipient}", written(head.day)]))
    yield Top(
        keeper=strong(head.keeper or "From a keeper of corals", SMALL + 1),
        reference=soft(head.reference, SMALL + 1),
        title=Words(TITLES[type(paper)], style=NAME, size=25),
        lead=soft(lead, BODY + 1) if lead else None,
    )
    if head.notice:
        yield Notice(strong(head.notice))


def _sides(seller: Seller | None, recipient: str, *, gives: str, gets: str):
    """Who gives and who gets; nothing where nobody said who gives."""
    if seller is None:
        return
    name = (strong(seller.name, BODY + 1),) if seller.name else ()
    sides = [(soft(gives), (*name, *map(Words, seller.lines)))]
    if recipient:
        sides.append((soft(gets), (strong(recipient, BODY + 1),)))
    yield Sides(tuple(sides))


def _named(thing: Thing):
    """Name and species, one under the other."""
    name = thing.lineage + (", the whole colony" if thing.is_colony else "")
    return (Words(name), latin(thing.latin)) if thing.latin else (Words(name),)


def _coded(thing: Thing):
    """The code in clear; of a colony its tag over it."""
    return (strong(thing.tag), code(thing.code, SMALL)) if thing.is_colony else (code(thing.code),)


def _symbol(thing: Thing, dots: int = 10) -> Symbol | None:
    return (
        Symbol(thing.address, f"QR code of {thing.code}, which opens {thing.address}", dots) if thing.address else None
    )


def _end(paper: Receipt | TradeReceipt):
    """What stands under a receipt: the keeper's own words, and what is to be known of its amounts."""
    if paper.closing:
        yield Paragraph(Words(paper.closing), before=8, after=8)
    for remark in paper.remarks:
        yield Paragraph(soft(remark, FINE + 0.5), after=3)


@singledispatch
def compose(paper: Paper, book: Book):
    """The parts of a paper, from the top."""
    raise TypeError(f"No way to draw a {type(paper).__name__}.")


# Receipts ------------------------------------------------------------------------------------------------------------


@compose.register
def _(paper: Receipt, book: Book):
    yield from _top(paper, written(paper.head.day) if paper.seller else "")
    yield from _sides(paper.seller, paper.head.recipient, gives="Seller", gets="Buyer")
    discounted = any(charge.discount for charge in paper.charges)
    columns = [Column(soft("Code"), CODE_WIDTH), Column(soft("Coral"))]
    if discounted:
        prices, discounts = ([getattr(each, name) for each in paper.charges] for name in ("price", "discount"))
        columns += [Column(soft("Price"), _room(prices), "right"), Column(soft("Discount"), _room(discounts), "right")]
    columns.append(Column(soft("Amount"), _room(charge.amount for charge in paper.charges), "right"))
    rows = []
    for charge in paper.charges:
        cells = [_coded(charge.thing), _named(charge.thing)]
        if discounted:
            cells += [(Words(charge.price),), (Words(charge.discount),) if charge.discount else ()]
        rows.append(Row((*cells, (Words(charge.amount),))))
    if rows:
        yield Table(tuple(columns), tuple(rows))
    else:
        yield Paragraph(soft("Nothing is in it.", BODY))
    yield _sums(paper.sums)
    if paper.payments:
        yield Heading(strong("Paid", 12))
        yield Table(
            (
                Column(soft("Day"), CODE_WIDTH),
                Column(soft("Payment")),
                Column(soft("Amount"), _room(each.amount for each in paper.payments), "right"),
            ),
            tuple(
                Row(((Words(written(paid.day)),), (Words(paid.words),), (Words(paid.amount),)))
                for paid in paper.payments
            ),
        )
    yield _sums([*paper.paid, paper.balance])
    yield from _end(paper)


def _room(amounts):
    """The width of a column for amounts."""
    return max(54.0, *(0.6 * BODY * len(amount) + 4 for amount in amounts), 0)


def _sums(sums):
    if not sums:
        return None
    return Sums(
        tuple(
            (
                strong(each.words, BODY + 1.5) if each.is_main else soft(each.words, BODY),
                strong(each.amount, BODY + 1.5) if each.is_main else Words(each.amount),
                each.is_main,
            )
            for each in sums
        )
    )


@compose.register
def _(paper: TradeReceipt, book: Book):
    yield from _top(paper, written(paper.head.day) if paper.seller else "")
    yield from _sides(paper.seller, paper.head.recipient, gives="Issued by", gets="Trade with")
    for heading, given in ((paper.went_heading, paper.went), (paper.came_heading, paper.came)):
        yield Heading(strong(heading, 12))
        if not given:
            yield Paragraph(soft("Nothing.", BODY))
            continue
        yield Table(
            (Column(soft("Code"), CODE_WIDTH), Column(soft("Coral")), Column(soft("Size"), 90, "right")),
            tuple(
                Row((_coded(each.thing), _named(each.thing), (Words(each.words or each.thing.size or "–"),)))
                for each in given
            ),
        )
    yield _sums([paper.cash])
    yield from _end(paper)


# Packing -------------------------------------------------------------------------------------------------------------


@compose.register
def _(paper: PackingList, book: Book):
    number = paper.number
    counted = f"{number} {'coral' if number == 1 else 'corals'}"
    head = paper.head
    sender = paper.sender if paper.sender and paper.sender.lines else None  # the name stands at the top anyway
    recipient = f"for {head.recipient}" if head.recipient and sender is None else ""
    yield from _top(paper, " · ".join(filter(None, [counted, recipient, written(head.day)])))
    yield from _sides(sender, head.recipient, gives="Sender", gets="Recipient")
    rows = []
    for place in paper.places:
        here = len(place.things)
        told = " · ".join(filter(None, [place.detail, f"{here} {'coral' if here == 1 else 'corals'}"]))
        rows.append(Row(group=(strong(place.name, BODY + 0.5), soft(told))))
        for each in place.things:
            thing = each.thing
            symbol = _symbol(thing)
            box = Box(says=f"Box to tick for {thing.tag or thing.code}")
            cell = (strong(each.cell, BODY + 1.5),) if each.cell else (soft("–"),)
            rows.append(
                Row(
                    (
                        (box,),
                        cell,
                        (symbol,) if symbol else (),
                        _coded(thing),
                        _named(thing),
                        (Words(thing.size or "–"),),
                    )
                )
            )
    if not rows:
        yield Paragraph(soft("Nothing is to be fetched.", BODY))
        return
    side = max((symbol.side for symbol in symbols_in(rows)), default=0)
    yield Table(
        (
            Column(soft("✓"), 12, "centre"),
            Column(soft("Cell"), 34),
            Column(soft("QR"), side, "centre"),
            Column(soft("Code"), CODE_WIDTH),
            Column(soft("Coral")),
            Column(soft("Size"), 48, "right"),
        ),
        tuple(rows),
        is_centred=True,
    )
    yield _sums([Sum("In all", counted, is_main=True)])


# Certificates --------------------------------------------------------------------------------------------------------


@compose.register
def _(paper: Certificate, book: Book):
    thing = paper.thing
    yield from _top(paper, f"of a {'colony' if thing.is_colony else 'frag'}, issued {written(paper.head.day)}")
    yield Identity(
        code=code(thing.code, 15) if not thing.is_colony else code(f"{thing.tag} · {thing.code}", 14),
        name=strong(thing.lineage, 17),
        species=latin(thing.latin, 12) if thing.latin else None,
        symbol=_symbol(thing, 14),
        facts=tuple((soft(name), Words(value)) for name, value in paper.facts),
        picture=_shown(paper.picture, book),
    )
    yield Heading(strong("Line of descent", 12))
    yield _timeline(paper.steps)
    if paper.before:
        yield Heading(strong("Before it came here", 12))
        for part in paper.before:
            yield Paragraph(strong(part.heading), after=1)
            yield Paragraph(soft(part.detail), after=6)
            if part.steps:
                yield _timeline(part.steps)
    yield Heading(strong("Who says so", 12))
    issuer = paper.head.keeper or "Its keeper, who is not named here,"
    yield Paragraph(Words(f"{issuer} issued this on {written(paper.head.day)} from their own records."))
    if paper.verify:
        yield Paragraph(Words(f"Compare it with the keeper’s page: scan the code above, or open {paper.verify}"))
    if paper.key:
        yield Paragraph(
            Words("The same line is to be had as a signed file, a passport. Its key has these figures:"), after=2
        )
        yield Paragraph(code(" ".join(paper.key), BODY + 0.5))
    yield Paragraph(
        soft(
            "The name is the keeper’s own. This paper tells what was recorded; it proves no species, grants no permit "
            "and takes the place of none.",
            FINE + 0.5,
        )
    )


def _shown(picture, book):
    jpeg = fit_jpeg(picture.jpeg, within=PICTURE_SIDE) if picture else None
    if jpeg is None:
        return None
    scale = PICTURE_SIDE / max(jpeg.width, jpeg.height)
    caption = soft(picture.caption, FINE) if picture.caption else None
    return Shown(book.keep_picture(jpeg), jpeg.width * scale, jpeg.height * scale, picture.words, caption)


def _timeline(steps):
    return Timeline(
        tuple(
            (soft(written(step.day), BODY), strong(step.title), soft(step.detail, SMALL + 0.5) if step.detail else None)
            for step in steps
        )
    )


# Care ----------------------------------------------------------------------------------------------------------------


@compose.register
def _(paper: CareNote, book: Book):
    yield from _top(paper)
    if len(paper.grown) == 1:
        yield from _one_grown(paper.grown[0])
    else:
        yield Heading(strong("How they grew here", 12))
        yield Table(
            (
                Column(soft("Code"), CODE_WIDTH),
                Column(soft("Coral")),
                Column(soft("Cut or came"), 96),
                Column(soft("Healing"), 88),
                Column(soft("Light"), 88),
            ),
            tuple(
                Row(
                    (
                        _coded(each.thing),
                        _named(each.thing),
                        (Words(each.cut or "–", size=SMALL),),
                        (Words(each.healing or "–", size=SMALL),),
                        (Words(each.light or "not measured", size=SMALL),),
                    )
                )
                for each in paper.grown
            ),
        )
    for water in paper.waters:
        yield Heading(strong(f"Water of {water.system}", 12))
        if water.tests:
            yield Facts(
                tuple(
                    (soft(f"{name}, {written(day)}", FINE + 0.5), strong(value, 11)) for name, value, day in water.tests
                ),
                columns=4,
            )
        else:
            yield Paragraph(soft("No test of it is recorded.", BODY))
    for advice in paper.advice:
        yield Heading(strong(advice.heading, 12))
        yield Bullets(tuple(Words(sentence, size=SMALL + 0.5) for sentence in advice.sentences))


def _one_grown(grown):
    thing = grown.thing
    yield Identity(
        code=code(thing.code, 13) if not thing.is_colony else code(f"{thing.tag} · {thing.code}", 13),
        name=strong(thing.lineage, 15),
        species=latin(thing.latin, 11) if thing.latin else None,
        symbol=_symbol(thing),
        facts=tuple(
            (soft(name), Words(value))
            for name, value in (
                ("Light it grew under", grown.light or "not measured"),
                ("Stood in", grown.place),
                ("Cut or came", grown.cut),
                ("Healing", grown.healing),
                ("Size", thing.size),
            )
            if value
        ),
    )

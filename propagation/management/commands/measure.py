import json
from decimal import Decimal, InvalidOperation
from pathlib import Path

import numpy as np

from propagation.errors import BadValue, NoCodeInPicture, PictureUnreadable
from propagation.management.keeper_command import KeeperCommand


class Command(KeeperCommand):
    help = (
        "Measure a coral in a photo by the printed code beside it. The photo need not be in the records; how large the "
        "code was printed is in the print record, unless given."
    )

    def add_arguments(self, parser):
        parser.add_argument("photo", metavar="PHOTO", help="A JPEG, PNG, HEIC or WebP file.")
        parser.add_argument("--label-mm", default="", metavar="X", help="Side of the printed code, without its margin.")
        parser.add_argument("--code", default="", help="Which of several codes in the picture to measure by.")
        parser.add_argument("--box", default="", metavar="X0,Y0,X1,Y1", help="A box around the coral, in pixels.")
        parser.add_argument("--outline", default="", metavar="FILE.json", help="Its outline as [[x, y], …] in pixels.")
        parser.add_argument(
            "--stands-out-mm",
            type=float,
            default=0.0,
            metavar="X",
            help="How far the coral may stand above or below the code's plane; by default it lies in it.",
        )

    def answer(self, *, photo, label_mm, code, box, outline, stands_out_mm, **options):
        from propagation.imaging.errors import ImagingError, NoSymbolFound
        from propagation.imaging.measuring import PROPOSED_OUTLINE_SD_PX, TRUE_OUTLINE, measure, read_labels
        from propagation.imaging.opening import open_picture

        side = _positive(label_mm) if label_mm else None
        if not 0 <= stands_out_mm < 200:
            raise BadValue(f"A coral that stands {stands_out_mm:g} mm out cannot be right; give 0 to 200 mm.")
        if box and outline:
            raise BadValue("Give a box or an outline, not both.")
        given = _outline_in(outline) if outline else None
        corners = _box(box) if box else None
        try:
            opened = open_picture(_bytes_of(photo))
            read = read_labels(opened)
            label, label_sd, name = _ruler(read, side, code)
            outline_sd_px, outline_sd, outline_doubts = TRUE_OUTLINE, (0.0, 0.0), ()  # one that is given
            if given is None:
                proposal = _proposed(opened.pixels, read, corners)
                given, outline_sd, outline_doubts = proposal.points, proposal.sds, proposal.doubts
                outline_sd_px = PROPOSED_OUTLINE_SD_PX
            measured = measure(
                opened,
                outline_px=given,
                label_mm=float(label.side_mm),
                symbol=next(each for each in read if each.text == label.text),
                label_sd_mm=label_sd,
                height_sd_mm=stands_out_mm,
                outline_sd_px=outline_sd_px,
                outline_sd=outline_sd,
                card=_card_of(label),
            )
        except NoSymbolFound as error:
            raise NoCodeInPicture(str(error)) from error
        except ImagingError as error:
            raise PictureUnreadable(str(error)) from error
        return {
            "code": name,
            "label_mm": float(label.side_mm),
            "area_mm2": measured.area_mm2,
            "longest_mm": measured.longest_mm,
            "sd": {"area_mm2": measured.sd_area_mm2, "longest_mm": measured.sd_longest_mm},
            "outline_px": np.round(given, 2).tolist(),
            "px_per_mm": measured.px_per_mm,
            "tilt_deg": measured.tilt_deg,
            "colour_lab": None if measured.colour_lab is None else list(measured.colour_lab),
            "doubts": [each for each in (measured.poor, *measured.notes, *outline_doubts) if each],
        }

    def lines(self, answer):
        sd = answer["sd"]
        yield f"By the code {answer['code']}, {answer['label_mm']:g} mm wide, {answer['px_per_mm']:.1f} pixels a mm:"
        yield f"area {answer['area_mm2'] / 100:.2f} cm² ± {sd['area_mm2'] / 100:.2f}"
        yield f"longest diameter {answer['longest_mm']:.1f} mm ± {sd['longest_mm']:.1f}"
        if answer["colour_lab"]:
            yield "colour L* {:.0f}, a* {:.0f}, b* {:.0f}".format(*answer["colour_lab"])
        yield from answer["doubts"]


def _bytes_of(path: str) -> bytes:
    try:
        return Path(path).read_bytes()
    except OSError as error:
        raise PictureUnreadable(f"“{path}” cannot be read: {error.strerror or error}.") from error


def _positive(text: str) -> Decimal:
    try:
        side = Decimal(text.replace(",", "."))
    except InvalidOperation:
        side = Decimal(0)
    if not side.is_finite() or not 0 < side < 1000:
        raise BadValue(f"“{text}” is no side of a code; give it in mm, as 12.7.")
    return side


def _box(text: str) -> tuple[float, ...]:
    try:
        corners = tuple(float(each) for each in text.split(","))
    except ValueError:
        corners = ()
    if len(corners) != 4 or not np.isfinite(corners).all():
        raise BadValue(f"“{text}” is no box; give it as x0,y0,x1,y1 in pixels.")
    return corners


def _outline_in(path: str) -> np.ndarray:
    try:
        told = json.loads(Path(path).read_text(encoding="utf-8"))
        points = np.array(told["outline_px"] if isinstance(told, dict) else told, dtype=float)
    except OSError as error:
        raise BadValue(f"“{path}” cannot be read: {error.strerror or error}.") from error
    except (ValueError, TypeError, KeyError, RecursionError) as error:
        raise BadValue(f"“{path}” holds no outline; write it as [[x, y], …] in pixels.") from error
    if points.ndim != 2 or points.shape[1] != 2:
        raise BadValue(f"“{path}” holds no outline; write it as [[x, y], …] in pixels.")
    return points


def _ruler(read, side: Decimal | None, code: str):
    """``(label, sd of its side in mm, its name)``: the one to measure by. With a side given, no record is asked."""
    from propagation.actions.measure_photo import PRINT_SD
    from propagation.codes import strip_code
    from propagation.imaging.errors import SymbolNotInPicture, WhichSymbol
    from propagation.readings.photo_labels import PhotoLabel, code_of_label, labels_of_photo, ruler_among

    texts = list(dict.fromkeys(each.text for each in read))
    names = {text: code_of_label(text) or text for text in texts}
    if code:
        texts = [text for text in texts if code == text or strip_code(code) == names[text]]
        if not texts:
            raise SymbolNotInPicture(code, list(names.values()))
    if side is not None:
        if len(texts) > 1:
            raise WhichSymbol(list(names.values()))
        return PhotoLabel(text=texts[0], card_mm=side), 0.0, names[texts[0]]
    labels = labels_of_photo(texts)
    ours = {label.of for label in labels if label.of}
    if len(ours) > 1:
        raise WhichSymbol([names[text] for text in texts])
    label = ruler_among(labels, next(iter(ours), None))
    if label is None:
        raise BadValue(
            f"How large the code {' or '.join(names[text] for text in texts)} was printed is not in the print record; "
            "give it with --label-mm."
        )
    return label, PRINT_SD * float(label.side_mm), names[label.text]


def _card_of(label):
    from propagation.actions.measure_photo import card_of
    from propagation.card_address import symbol_mm_of_card

    return card_of(label.side_mm) if symbol_mm_of_card(label.text) else None


def _proposed(pixels, read, box):
    """Raises ImagingError for a box in which nothing stands out."""
    from propagation.actions.measure_photo import propose_outline_in
    from propagation.imaging.outline import propose

    if box is not None:
        return propose(pixels, box=box, labels_px=[each.corners_px for each in read])
    found = propose_outline_in(pixels, read)
    if found is None:
        raise PictureUnreadable("Where the coral is could not be found; give --box or --outline.")
    return found

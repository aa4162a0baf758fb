"""What can be wrong with a picture, each said in a sentence a keeper understands."""


class ImagingError(ValueError):
    """A picture cannot be used as asked. ``str(error)`` is the sentence."""


class PictureRefused(ImagingError):
    """The file is no picture that can be opened."""


class PictureEmpty(PictureRefused):
    """The file has no bytes."""

    def __init__(self):
        super().__init__("The file is empty; take the picture again or send it again.")


class NotAPicture(PictureRefused):
    """The bytes are of something else, whatever the name says."""

    def __init__(self, what=None):
        self.what = what
        named = f"The file is {what}, not a picture" if what else "The file is not a picture that can be read"
        super().__init__(f"{named}; choose a JPEG, PNG, HEIC or WebP file.")


class PictureTooLarge(PictureRefused):
    """More pixels than any camera takes; refused before one of them is unpacked."""

    def __init__(self, most, size=None):
        has = f"is {size[0]} × {size[1]} pixels" if size else "has too many pixels"
        super().__init__(
            f"The picture {has}; up to {most // 1_000_000} million are taken. Take it with a smaller size."
        )


class PictureBroken(PictureRefused):
    """Cut short, or damaged on the way."""

    def __init__(self):
        super().__init__("The picture is broken or cut short; send it again or take another.")


class NoSymbolFound(ImagingError):
    """No QR could be read. ``reason`` says what the picture looks like."""

    def __init__(self, reason):
        self.reason = reason
        super().__init__(
            f"There is no readable code in the picture: {reason} You can also set the scale by two points of known "
            "distance."
        )


class SymbolNotInPicture(ImagingError):
    """The code that was asked for is not among those read."""

    def __init__(self, wanted, read):
        self.wanted, self.read = wanted, list(read)
        super().__init__(
            f"The code {wanted} is not in the picture; it shows {', '.join(self.read)}. Choose one of these."
        )


class WhichSymbol(ImagingError):
    """Several codes are in the picture and none was chosen."""

    def __init__(self, read):
        self.read = list(read)
        super().__init__(
            f"There are {len(self.read)} codes in the picture: {', '.join(self.read)}. Choose one of these."
        )


class PlaneTooPoor(ImagingError):
    """The label does not fit a flat symbol well enough to measure by it."""

    def __init__(self, reason):
        self.reason = reason
        super().__init__(f"The label cannot serve as a ruler: {reason}")


class BadOutline(ImagingError):
    """The outline encloses nothing, crosses itself or leaves the plane."""

    def __init__(self, why):
        super().__init__(f"The outline cannot be measured: {why}")


class BadScale(ImagingError):
    """Two points or a length that give no scale."""

    def __init__(self, why):
        super().__init__(f"The scale cannot be set: {why}")


class NoWhite(ImagingError):
    """Nothing white could be used as the reference for colour."""

    def __init__(self, why):
        super().__init__(f"The colour cannot be measured: {why}")


class BadBox(ImagingError):
    """A box in which no colony can be looked for."""

    def __init__(self, why):
        super().__init__(f"The box cannot be used: {why}")


class StrokesDisagree(ImagingError):
    """Strokes that say of one place that it is colony and that it is not. The sentence says which."""


class NothingStandsOut(ImagingError):
    """Nothing in the box looks other than what is around it."""

    def __init__(self):
        super().__init__(
            "No colony stands out from what is around it. Draw a stroke over the colony, or draw the outline by hand."
        )

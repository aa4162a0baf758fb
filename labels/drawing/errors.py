"""What can go wrong while labels are drawn, each said in a sentence a keeper understands."""


class LabelDrawingError(ValueError):
    """Labels cannot be drawn as asked."""


class BadStock(LabelDrawingError):
    """The measures of a label stock cannot be right."""

    def __init__(self, name, problems):
        self.problems = list(problems)
        super().__init__(f"The label stock “{name}” cannot be printed. " + " ".join(self.problems))


class StartOutsideSheet(LabelDrawingError):
    """The first label would not be on the sheet."""

    def __init__(self, start, per_page):
        places = "one label" if per_page == 1 else f"{per_page} labels, so start at 1 to {per_page}"
        super().__init__(f"Position {start} is not on the sheet: it holds {places}.")


class SymbolTooLarge(LabelDrawingError):
    """The QR does not fit on the label at all."""

    def __init__(self, name, modules, dpi):
        super().__init__(
            f"The QR has {modules} × {modules} modules and does not fit on “{name}” at {dpi} dpi. "
            "Take a larger label, a finer printer or a shorter base address."
        )


class AddressTooLong(LabelDrawingError):
    """The address is longer than any QR can hold."""

    def __init__(self, address):
        super().__init__(
            f"The address {address[:40]}… is {len(address)} characters long; no QR holds that. Shorten it."
        )


class NothingToDraw(LabelDrawingError):
    """No labels were given."""

    def __init__(self):
        super().__init__("There are no labels to print. Choose at least one plug or colony.")


class BadResolution(LabelDrawingError):
    """No label printer has this many dots per inch."""

    def __init__(self, dpi):
        super().__init__(f"{dpi} dpi is not a printer's resolution. Label printers have 203, 300 or 600 dots per inch.")

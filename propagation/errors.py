"""What can go wrong in propagation, each as a sentence a keeper understands: what is wrong and the way out."""

from propagation.dates import day_in_words


class RametError(Exception):
    """A refusal that a keeper can act on. ``str(error)`` is the sentence."""


class CodeMistyped(RametError):
    """The text is not a code, or its check character does not fit."""

    def __init__(self, text):
        self.text = text
        super().__init__(f"“{text}” is mistyped: its characters do not fit together. Compare it with the label.")


class NothingFound(RametError):
    """No plug or colony has this code or tag."""

    def __init__(self, what, text, near=()):
        self.text = text
        self.near = list(near)
        hint = f" Did you mean {' or '.join(self.near)}?" if self.near else " Check it against the label."
        super().__init__(f"There is no {what} “{text}”.{hint}")


class BadValue(RametError):
    """A value that cannot be right, named with what would be."""

    def __init__(self, sentence, field=None):
        self.field = field
        super().__init__(sentence)


class BadDate(BadValue):
    """A day in the future, or before the thing began, or out of order."""


class RowErrors(RametError):
    """Several things wrong in one sitting; nothing was saved.

    ``errors`` is a list of ``(row, column, sentence)``; row counts from 1 for the first mother, column may be None.
    """

    def __init__(self, errors):
        self.errors = list(errors)
        super().__init__(
            "Nothing was saved. "
            + " ".join(f"Row {row}{f', {column}' if column else ''}: {text}" for row, column, text in self.errors)
        )


class AlreadyDone(RametError):
    """Someone else did this, or something that excludes it, first."""


class TagTaken(AlreadyDone):
    """A colony has or had this tag."""

    field = "tag"

    def __init__(self, tag):
        super().__init__(f"A colony has or had the tag {tag}; choose another, tags are never reused.")


class NameTaken(AlreadyDone):
    """Two lineages, or two systems, cannot be kept under one name."""

    def __init__(self, what, other, name=None):
        self.other = other
        super().__init__(f"There is a {what} named {name or other} already. Open it, or choose another name.")


class UnlikelySize(BadValue):
    """A size so far from the last one that a slip is likelier; the keeper can confirm it.

    ``likely`` is what may have been meant, as it is stored, or None.
    """

    def __init__(self, sentence, likely=None):
        self.likely = likely
        super().__init__(sentence, field="value")


class UnlikelyTests(BadValue):
    """Water tests so far off that a slip is likelier; the keeper can confirm them.

    ``found`` is a list of ``(parameter, sentence, likely)``; ``likely`` is what may have been meant, or None.
    """

    def __init__(self, found):
        self.found = list(found)
        super().__init__(" ".join(sentence for _, sentence, _ in self.found), field=self.found[0][0])


class AbsencesOverlap(BadValue):
    """Two absences cannot share a day; ``other`` is the one that is planned already."""

    def __init__(self, sentence, other):
        self.other = other
        super().__init__(sentence, field="first_day")


class PlugGone(RametError):
    """The plug is dead, sold, traded, given away, grown on or void."""

    def __init__(self, plug, wish):
        self.plug = plug
        super().__init__(
            f"Plug {plug.code_in_clear} is {plug.get_fate_display().lower()}"
            f"{f' since {day_in_words(plug.ended_on)}' if plug.ended_on else ''}, so it cannot be {wish}."
        )


class PlugPromised(RametError):
    """The plug is promised to somebody."""

    def __init__(self, plug, promise):
        self.plug = plug
        self.promise = promise
        super().__init__(f"Plug {plug.code_in_clear} is promised: {promise}. Release it first.")


class ChangedMeanwhile(RametError):
    """Two people corrected one thing: the second is shown what the first one did."""

    def __init__(self, what):
        super().__init__(
            f"{what} was changed by somebody else after you opened it. Nothing of yours was saved; "
            "look at it as it stands now and make your change again."
        )


class CellTaken(RametError):
    """Two plugs cannot stand in one cell of a rack."""


class PictureUnreadable(RametError):
    """A file that is no picture, is too large, or is broken."""


class DiskFull(RametError):
    """There is no room for another file."""

    def __init__(self, name):
        super().__init__(
            f"“{name}” was not kept: the disk is full. Nothing of it is left behind; make room and send it again."
        )


class MeasurementDoubtful(BadValue):
    """What was measured in a photo is less sure than usual; the keeper can say yes to it."""

    def __init__(self, doubts):
        self.doubts = list(doubts)
        super().__init__(f"{' '.join(self.doubts)} Take the sizes all the same?", field="confirmed")


class NoCodeInPicture(RametError):
    """A photo without a label in it, or with a code of somebody else's."""


class TooFewPictures(BadValue):
    """A film or a strip shows growth from two pictures on whose sizes are in the records."""

    def __init__(self, colony, found):
        super().__init__(
            f"A film of {colony} needs two photos of different days whose sizes are in the records; there is "
            f"{'one' if found else 'none'}. Add photos with its label in the picture, and take their sizes."
        )

"""The nouns of the labels floor."""

from labels.models.passport import KnownKey, Passport
from labels.models.print_run import PrintedLabel, PrintRun
from labels.models.stock import LabelStock

__all__ = ["KnownKey", "LabelStock", "Passport", "PrintRun", "PrintedLabel"]

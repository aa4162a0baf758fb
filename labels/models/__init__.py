"""The nouns of the labels floor."""

from labels.models.print_run import PrintedLabel, PrintRun
from labels.models.stock import LabelStock

__all__ = ["LabelStock", "PrintRun", "PrintedLabel"]

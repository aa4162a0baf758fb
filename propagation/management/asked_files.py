"""Files that a keeper names with ``--out``."""

import os
from collections.abc import Callable
from pathlib import Path

from propagation.errors import BadValue
from propagation.whole_files import write_whole


def write_asked_for(path: Path, write: Callable[[Path], None] | bytes) -> None:
    """Write a file whole or not at all: bytes, or what ``write`` puts into a draft. Raises BadValue, which names it."""
    try:
        write_whole(path, (lambda draft: draft.write_bytes(write)) if isinstance(write, bytes) else write)
    except OSError as error:
        raise BadValue(f"“{path}” cannot be written: {os.strerror(error.errno or 0)}.", field="out") from error

"""Files that are there whole or not at all: written under another name, which becomes theirs at the end."""

import secrets
from collections.abc import Callable
from pathlib import Path


def write_whole(path: Path, write: Callable[[Path], None]) -> None:
    """Let ``write`` fill a draft beside ``path``, with the same suffix, then give it its name.

    Who may read it is as the system says of new files. Raises OSError; then nothing is left of the draft, and a file
    that was there before is as it was.
    """
    draft = path.with_name(f".{path.stem}.{secrets.token_hex(4)}{path.suffix}")
    try:
        draft.touch(exist_ok=False)
        write(draft)
        draft.replace(path)
    except BaseException:
        draft.unlink(missing_ok=True)
        raise

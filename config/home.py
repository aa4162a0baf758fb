"""The keeper's data folder and the secrets kept in it."""

import os
import secrets
from collections.abc import Callable
from pathlib import Path


def _random_text() -> str:
    return secrets.token_urlsafe(50)


def kept_secret(path: Path, make: Callable[[], str] = _random_text) -> str:
    """Return the secret kept in `path`, making it when it is needed first. One that is there is never overwritten.

    Two processes that start together agree on one secret: it is written beside the file and linked into place,
    and whoever comes second reads what the first one wrote.
    """
    if not path.exists():
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        draft = path.with_name(f"{path.name}.{os.getpid()}")
        descriptor = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        with os.fdopen(descriptor, "w", encoding="ascii") as file:
            file.write(make())
        try:
            os.link(draft, path)
        except FileExistsError:
            pass
        except OSError:  # a file system without links
            _write_if_missing(path, draft.read_text(encoding="ascii"))
        draft.unlink(missing_ok=True)
    return path.read_text(encoding="ascii").strip()


def _write_if_missing(path: Path, text: str) -> None:
    try:
        descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        return
    with os.fdopen(descriptor, "w", encoding="ascii") as file:
        file.write(text)

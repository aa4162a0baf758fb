"""The keeper's data folder and the secrets kept in it."""

import os
import secrets
from pathlib import Path


def kept_secret(path: Path) -> str:
    """Return the secret kept in `path`, making it on the first start.

    Two processes that start together agree on one secret: it is written beside the file and linked into place,
    and whoever comes second reads what the first one wrote.
    """
    if not path.exists():
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        draft = path.with_name(f"{path.name}.{os.getpid()}")
        descriptor = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        with os.fdopen(descriptor, "w", encoding="ascii") as file:
            file.write(secrets.token_urlsafe(50))
        try:
            os.link(draft, path)
        except FileExistsError:
            pass
        except OSError:  # a file system without links
            draft.replace(path)
        draft.unlink(missing_ok=True)
    return path.read_text(encoding="ascii").strip()

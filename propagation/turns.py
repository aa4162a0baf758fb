"""Work that is done by one process at a time, whatever the database; a process that dies gives up its turn."""

import zlib
from contextlib import contextmanager

from django.conf import settings
from django.db import connection

try:
    import fcntl
except (
    ImportError
):  # not on every system; there a turn is not waited for, and work may be done twice but never saved so
    fcntl = None

SPREAD = 64  # names that share a turn by chance only wait for each other


@contextmanager
def turn(name: str):
    """Wait for the turn of this name and have it for the block. No transaction is held open meanwhile.

    PostgreSQL keeps the turn with the connection, for workers on several machines; else a file in RAMET_HOME does.
    """
    number = zlib.crc32(name.encode()) % SPREAD
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_lock(%s, %s)", [zlib.crc32(b"ramet") % 2**31, number])
            try:
                yield
            finally:
                cursor.execute("SELECT pg_advisory_unlock(%s, %s)", [zlib.crc32(b"ramet") % 2**31, number])
        return
    folder = settings.RAMET_HOME / "locks"
    folder.mkdir(parents=True, exist_ok=True)
    with open(folder / f"turn-{number}", "w") as file:
        if fcntl:
            fcntl.flock(file, fcntl.LOCK_EX)
        yield  # closing the file ends the turn

"""Files that are sent in parts: players of films ask for ranges of bytes, and Safari plays nothing without them.

One range is answered, as RFC 9110 §14 has it; a request for several, or one not understood, is answered with the whole
file, which §14.2 allows.
"""

import re
from collections.abc import Iterator

from django.http import HttpRequest, HttpResponse, StreamingHttpResponse

CHUNK = 64 * 1024
ONE_RANGE = re.compile(r"bytes\s*=\s*(?:(\d+)-(\d*)|-(\d+))\s*", re.IGNORECASE)  # §14.1.2
MOST_DIGITS = 18


class Unsatisfiable(Exception):
    """No byte of the file is in the range."""


def range_asked_for(header: str, length: int) -> tuple[int, int] | None:
    """First and last byte, or None where the whole file is to be sent. Raises Unsatisfiable."""
    found = ONE_RANGE.fullmatch(header.strip())
    if found is None or any(part and len(part) > MOST_DIGITS for part in found.groups()):
        return None
    first, last, suffix = found.groups()
    if suffix is not None:
        if int(suffix) == 0 or length == 0:
            raise Unsatisfiable
        return max(0, length - int(suffix)), length - 1
    if last and int(last) < int(first):
        return None  # an invalid range is no range (§14.1.1)
    if int(first) >= length:
        raise Unsatisfiable
    return int(first), min(int(last), length - 1) if last else length - 1


def ranged_response(
    request: HttpRequest, file, *, length: int, content_type: str, etag: str
) -> HttpResponse | StreamingHttpResponse:
    """A file, or the range of it that was asked for.

    ``file`` is open for reading and can be sought in; it is closed when the answer was sent. ``etag`` is strong and
    stands for the bytes: with another one in ``If-Range`` the whole file is sent (§13.1.5).
    """
    etag = f'"{etag}"'
    asked = request.headers.get("Range") if request.method == "GET" else None
    if asked and request.headers.get("If-Range", etag) != etag:
        asked = None
    try:
        part = range_asked_for(asked, length) if asked else None
    except Unsatisfiable:
        file.close()
        answer = HttpResponse(status=416, content_type="text/plain; charset=utf-8")
        answer["Content-Range"] = f"bytes */{length}"
        answer["Accept-Ranges"] = "bytes"
        return answer
    first, last = part or (0, length - 1)
    answer = StreamingHttpResponse(
        _bytes_of(file, first, last - first + 1), status=206 if part else 200, content_type=content_type
    )
    answer["Content-Length"] = str(last - first + 1)
    answer["Accept-Ranges"] = "bytes"
    answer["ETag"] = etag
    if part:
        answer["Content-Range"] = f"bytes {first}-{last}/{length}"
    return answer


def _bytes_of(file, first: int, number: int) -> Iterator[bytes]:
    with file:
        file.seek(first)
        while number > 0 and (chunk := file.read(min(CHUNK, number))):
            number -= len(chunk)
            yield chunk

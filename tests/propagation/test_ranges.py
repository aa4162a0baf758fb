"""Ranges of bytes, by RFC 9110 §14."""

from io import BytesIO

import pytest
from django.test import RequestFactory

from propagation.ranged import Unsatisfiable, range_asked_for, ranged_response

DATA = bytes(range(256)) * 300


def sent(header=None, method="get", **headers):
    if header is not None:
        headers["range"] = header
    request = getattr(RequestFactory(), method)("/film", headers=headers)
    file = BytesIO(DATA)
    answer = ranged_response(request, file, length=len(DATA), content_type="video/mp4", etag="abc")
    answer.sent = b"".join(answer.streaming_content) if answer.streaming else answer.content
    answer.file = file
    return answer


@pytest.mark.parametrize(
    ("header", "first", "last"),
    [
        ("bytes=0-0", 0, 0),
        ("bytes=0-499", 0, 499),
        ("bytes=500-", 500, len(DATA) - 1),
        ("bytes=-500", len(DATA) - 500, len(DATA) - 1),
        ("bytes=-99999999", 0, len(DATA) - 1),
        ("BYTES = 5-9", 5, 9),
        (f"bytes=10-{10**12}", 10, len(DATA) - 1),
    ],
)
def test_one_range_is_sent(header, first, last):
    answer = sent(header)
    assert answer.status_code == 206
    assert answer.sent == DATA[first : last + 1]
    assert answer["Content-Range"] == f"bytes {first}-{last}/{len(DATA)}"
    assert answer["Content-Length"] == str(last - first + 1)
    assert answer.file.closed


@pytest.mark.parametrize("header", ["bytes=0-1,4-5", "bytes=9-5", "bytes=", "bytes=a-b", "items=0-5", "bytes=-", "0-5"])
def test_several_ranges_and_what_is_none_are_answered_with_all(header):
    answer = sent(header)
    assert answer.status_code == 200
    assert answer.sent == DATA
    assert "Content-Range" not in answer


@pytest.mark.parametrize("header", [f"bytes={len(DATA)}-", "bytes=-0", f"bytes={10**9}-{10**9 + 1}"])
def test_a_range_beyond_the_end_cannot_be_satisfied(header):
    answer = sent(header)
    assert answer.status_code == 416
    assert answer["Content-Range"] == f"bytes */{len(DATA)}"
    assert answer.file.closed


def test_without_a_range_all_is_sent_and_ranges_are_offered():
    answer = sent()
    assert (answer.status_code, answer.sent) == (200, DATA)
    assert answer["Accept-Ranges"] == "bytes"
    assert answer["Content-Length"] == str(len(DATA))


def test_a_range_counts_only_for_the_bytes_it_was_begun_with():
    assert sent("bytes=5-9", if_range='"abc"').status_code == 206
    assert sent("bytes=5-9", if_range='"old"').status_code == 200


def test_a_range_means_nothing_but_for_get():
    assert sent("bytes=5-9", method="head").status_code == 200


def test_an_empty_file_has_no_range():
    with pytest.raises(Unsatisfiable):
        range_asked_for("bytes=-5", 0)

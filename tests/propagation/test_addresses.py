"""Who can open an address, and where it is said before it is sent.

Sources: RFC 6761, RFC 6762 and RFC 8375 (special names), RFC 1918 and RFC 4193 (private networks), RFC 3927
(link-local).
"""

import pytest
from django.urls import reverse

from inventory.models import Availability
from propagation.addresses import Opens, who_opens
from propagation.models import CalendarAddress, Preferences

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    ("address", "opens"),
    [
        ("http://localhost:8000", Opens.HERE),
        ("http://127.0.0.1:8000/papers/x", Opens.HERE),
        ("http://127.8.9.1", Opens.HERE),
        ("http://[::1]:8000", Opens.HERE),
        ("http://0.0.0.0:8000", Opens.HERE),
        ("http://192.168.1.20:8000", Opens.NETWORK),
        ("http://10.1.2.3", Opens.NETWORK),
        ("http://172.31.0.9", Opens.NETWORK),
        ("http://169.254.7.7", Opens.NETWORK),
        ("http://[fd12:3456::1]", Opens.NETWORK),
        ("http://[fe80::1]", Opens.NETWORK),
        ("http://tankpi:8000", Opens.NETWORK),
        ("http://tankpi.local", Opens.NETWORK),
        ("http://tankpi.home.arpa", Opens.NETWORK),
        ("https://reef.example", Opens.ANYWHERE),
        ("https://reef.example.:8443/", Opens.ANYWHERE),
        ("http://8.8.8.8", Opens.ANYWHERE),
        ("http://172.32.0.1", Opens.ANYWHERE),
        ("https://localhost.example", Opens.ANYWHERE),
    ],
)
def test_who_opens_an_address(address, opens):
    assert who_opens(address) is opens


@pytest.mark.parametrize(
    ("base", "words"),
    [
        ("", "Only this machine can open it."),
        ("http://192.168.1.20:8000", "Only what is in your own network can open it."),
        ("https://reef.example", None),
    ],
)
def test_a_link_to_send_says_who_can_open_it(signed_in, base, words):
    Preferences.objects.update_or_create(pk=1, defaults={"base_address": base})
    Availability.objects.update_or_create(pk=1, defaults={"visibility": "secret"})
    CalendarAddress.objects.create(pk=1)
    for name in ("offers", "calendar"):
        page = signed_in.get(reverse(name), headers={"host": "localhost"}).text
        assert f'value="{base or "http://localhost"}/' in page
        assert ("can open it." in page) == bool(words)
        assert words is None or words in page

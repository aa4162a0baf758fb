"""The owner of a keeper's records, and the ways in."""

import getpass
import os
import sys

import sesame.utils
from django.contrib.auth import get_user_model
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.management.base import CommandError
from django.urls import reverse


def sign_in_link(user, address: str) -> str:
    """A link that signs the user in once, within a day."""
    return f"{address}{reverse('sign_in_by_link')}{sesame.utils.get_query_string(user)}"


def owner():
    """The first user, or None before the first start."""
    return get_user_model().objects.order_by("pk").first()


def make_owner():
    """Make the owner from RAMET_OWNER and RAMET_PASSWORD, or by asking at the terminal.

    Raises CommandError if neither is possible, or the password is too weak.
    """
    name, password = os.environ.get("RAMET_OWNER", ""), os.environ.get("RAMET_PASSWORD", "")
    asked = not (name and password)
    if asked:
        if not sys.stdin.isatty():
            raise CommandError(
                "This is the first start, so it needs an owner: set RAMET_OWNER and RAMET_PASSWORD, "
                "or start it at a terminal and it will ask."
            )
        print("First start. Choose the name and the password you will sign in with.")
        name = name or input("Name: ").strip()
    user_model = get_user_model()
    user = user_model(username=name)
    try:
        user_model.username_validator(name)
    except ValidationError as error:
        raise CommandError(f"“{name}” cannot be a name: {' '.join(error.messages)}") from error
    while True:
        if asked:
            password = getpass.getpass("Password (at least 10 characters): ")
        try:
            validate_password(password, user)
            break
        except ValidationError as error:
            if not asked:
                raise CommandError(f"RAMET_PASSWORD: {' '.join(error.messages)}") from error
            print(" ".join(error.messages))
    return user_model.objects.create_user(name, password=password)

"""Putting a photo right by hand: what it is of, when it was taken, whether it counts and whether others may see it."""

from datetime import date

from django.db import transaction

from propagation.actions.days import check_day
from propagation.errors import AlreadyDone, BadValue
from propagation.models import Colony, Fate, Photo, Plug
from propagation.readings.photo_days import trouble_with_day


def locked_photo(photo: Photo) -> Photo:
    """The photo as it stands now, kept from others until the act is done."""
    return Photo.objects.select_for_update(of=("self",)).select_related("colony", "plug").get(pk=photo.pk)


def save_photo(photo: Photo, *fields: str, by=None) -> Photo:
    photo._history_user = by
    photo.save(update_fields=fields)
    return photo


def ask_to_look_into(photo: Photo) -> None:
    """Have the worker look into a photo once the act is committed."""
    from propagation.tasks import look_into_photo  # which loads all that measures, and no other act needs

    look_into_photo.enqueue(photo.pk)


def refuse_measured(photo: Photo, wish: str) -> None:
    """Raise AlreadyDone if sizes from the photo are in the records: they would no longer fit."""
    if photo.measurements.filter(accepted_at__isnull=False).exists():
        raise AlreadyDone(f"Sizes measured in {photo} are in the records. Take them back first, then {wish}.")


def refuse_set_aside(photo: Photo) -> None:
    """Raise AlreadyDone for a photo that is used for nothing now."""
    if photo.set_aside_on:
        raise AlreadyDone(f"{photo} is set aside. Take it back first.")


def refuse_unfit(photo: Photo) -> None:
    """Raise AlreadyDone or BadValue for a photo that cannot go into the records: set aside, or of nothing known."""
    refuse_set_aside(photo)
    if photo.shows is None:
        raise BadValue(f"Say first what {photo} is a picture of.")


@transaction.atomic
def sort_photo(*, photo: Photo, of: Colony | Plug, by=None) -> Photo:
    """Say by hand what a photo is of. It is then looked into again, by the label of that one if it is in the picture.

    Raises AlreadyDone for one that is set aside or has sizes in the records, BadValue for a plug that is void.
    """
    photo = locked_photo(photo)
    refuse_set_aside(photo)
    if photo.shows == of:
        return photo
    refuse_measured(photo, "sort it anew")
    if isinstance(of, Plug) and of.fate == Fate.VOID:
        raise BadValue(f"Plug {of.code_in_clear} was recorded by mistake; choose another.", field="of")
    photo.colony, photo.plug = (of, None) if isinstance(of, Colony) else (None, of)
    photo.sorted_by = Photo.SortedBy.HAND
    photo.reviewed_at = photo.looked_at = None
    save_photo(photo, "colony", "plug", "sorted_by", "reviewed_at", "looked_at", by=by)
    ask_to_look_into(photo)
    return photo


@transaction.atomic
def date_photo(*, photo: Photo, on: date, today: date, by=None) -> Photo:
    """Put right on which day a photo was taken. The hour of the camera is not believed any more.

    Raises BadDate, AlreadyDone if sizes from it are in the records.
    """
    photo = locked_photo(photo)
    if photo.taken_on == on and photo.dated_by == Photo.DatedBy.KEEPER:
        return photo
    refuse_measured(photo, "date it anew")
    shown = photo.shows
    check_day(
        on, today=today, what="A photo taken", not_before=shown.began_on if shown else None, because=f"{shown} began"
    )
    was_about_the_day = photo.trouble == trouble_with_day(photo, today=today)
    photo.taken_on, photo.taken_time, photo.dated_by = on, None, Photo.DatedBy.KEEPER
    if was_about_the_day:
        photo.trouble = ""
    return save_photo(photo, "taken_on", "taken_time", "dated_by", "trouble", by=by)


@transaction.atomic
def set_aside_photo(*, photo: Photo, today: date, by=None) -> Photo:
    """Leave a photo out of everything; it can be taken back. Others see it no more.

    Raises AlreadyDone if sizes from it are in the records.
    """
    photo = locked_photo(photo)
    if photo.set_aside_on:
        return photo
    refuse_measured(photo, "set it aside")
    photo.set_aside_on, photo.is_shown = today, False
    return save_photo(photo, "set_aside_on", "is_shown", by=by)


@transaction.atomic
def take_back_photo(*, photo: Photo, by=None) -> Photo:
    """Use a photo again that was set aside."""
    photo = locked_photo(photo)
    if photo.set_aside_on is None:
        return photo
    photo.set_aside_on = None
    return save_photo(photo, "set_aside_on", by=by)


@transaction.atomic
def show_photo(*, photo: Photo, by=None) -> Photo:
    """Let others see the copies of a photo without metadata. Raises BadValue for one that shows nothing known."""
    photo = locked_photo(photo)
    if photo.shows is None or photo.set_aside_on or not photo.screen:
        raise BadValue(
            f"{photo} is set aside. Take it back first, then show it."
            if photo.set_aside_on
            else f"Say first what {photo} is of, then show it."
            if photo.shows is None
            else f"{photo} could not be opened, so there is nothing to show."
        )
    if photo.is_shown:
        return photo
    photo.is_shown = True
    return save_photo(photo, "is_shown", by=by)


@transaction.atomic
def hide_photo(*, photo: Photo, by=None) -> Photo:
    """Show a photo to nobody but those who are signed in."""
    photo = locked_photo(photo)
    if not photo.is_shown:
        return photo
    photo.is_shown = False
    return save_photo(photo, "is_shown", by=by)

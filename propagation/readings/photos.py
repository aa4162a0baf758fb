"""Photos: what waits, what a round has come to, what there is of a colony or a plug."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import (
    BooleanField,
    Count,
    Exists,
    ExpressionWrapper,
    F,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
)
from django_tasks_db.models import DBTaskResult

from propagation.models import Colony, Photo, PhotoMeasurement, PhotoRound, Plug

# After so long a photo that nobody has looked into is asked for again: a worker takes a second or two for one.
LEFT_BEHIND_AFTER = timedelta(minutes=5)
MOST_TRIES = 3  # a photo that ended the worker so often is left alone
DAYS_BETWEEN_PHOTOS = 31  # a month's round
LOOK_INTO = "propagation.tasks.look_into_photo"


@dataclass(frozen=True)
class PhotoCounts:
    """How many photos wait for what."""

    to_review: int
    unsorted: int
    in_trouble: int
    waiting: int
    set_aside: int

    @property
    def any(self) -> bool:
        return bool(self.to_review or self.unsorted or self.in_trouble or self.waiting)


LOOKED_INTO = Q(looked_at__isnull=False)
SORTED = Q(colony__isnull=False) | Q(plug__isnull=False)
OPEN = Q(set_aside_on=None, reviewed_at=None) & LOOKED_INTO


def photo_counts() -> PhotoCounts:
    """What waits, in one query."""
    found = Photo.objects.aggregate(
        to_review=Count("pk", filter=OPEN & SORTED),
        unsorted=Count("pk", filter=OPEN & ~SORTED),
        in_trouble=Count("pk", filter=OPEN & ~Q(trouble="")),
        waiting=Count("pk", filter=Q(looked_at=None, set_aside_on=None)),
        set_aside=Count("pk", filter=Q(set_aside_on__isnull=False)),
    )
    return PhotoCounts(**found)


def photos_in_trouble() -> QuerySet:
    """Looked into, neither reviewed nor set aside, and something is wrong with them."""
    return Photo.objects.filter(OPEN).exclude(trouble="")


def with_what_they_show(photos: QuerySet) -> QuerySet:
    """The photos with the colony or plug they show loaded."""
    return photos.select_related("colony__lineage", "plug__lineage")


def latest_measurement(photo: Photo) -> PhotoMeasurement | None:
    """What was measured in it last. One query."""
    return photo.measurements.order_by("-id").first()


def accepted_measurement(photo: Photo) -> PhotoMeasurement | None:
    """The measurement whose sizes are in the records. One query."""
    return photo.measurements.filter(accepted_at__isnull=False).first()


def next_to_review(after: Photo | None = None) -> Photo | None:
    """The photo to be reviewed next: in the order of arrival, after the given one, then from the beginning."""
    waiting = with_what_they_show(Photo.objects.to_review()).order_by("pk")
    following = waiting.filter(pk__gt=after.pk).first() if after else None
    return following or waiting.exclude(pk=after.pk if after else None).first()


@dataclass(frozen=True)
class RoundProgress:
    """How far a round has come."""

    photos: int
    looked_into: int
    sorted: int
    measured: int
    reviewed: int
    in_trouble: int
    set_aside: int

    @property
    def is_done(self) -> bool:
        """Has every photo been looked into?"""
        return self.looked_into == self.photos

    @property
    def words(self) -> str:
        return f"{self.looked_into} of {self.photos}"


PROGRESS = {
    "n_photos": Q(),
    "n_looked_into": Q(photos__looked_at__isnull=False) | Q(photos__set_aside_on__isnull=False),
    "n_sorted": Q(photos__colony__isnull=False) | Q(photos__plug__isnull=False),
    "n_reviewed": Q(photos__reviewed_at__isnull=False),
    "n_in_trouble": Q(photos__set_aside_on=None, photos__reviewed_at=None, photos__looked_at__isnull=False)
    & ~Q(photos__trouble=""),
    "n_set_aside": Q(photos__set_aside_on__isnull=False),
}


def rounds() -> QuerySet:
    """Rounds, the latest first, with how many of their photos have come how far as ``n_…``."""
    return (
        PhotoRound.objects.annotate(**{name: Count("photos", filter=condition) for name, condition in PROGRESS.items()})
        .select_related("begun_by")
        .order_by("-begun_at", "-id")
    )


def progress_of(round: PhotoRound) -> RoundProgress:
    """How far a round has come. Two queries."""
    found = rounds().get(pk=round.pk)
    measured = round.photos.filter(Exists(PhotoMeasurement.objects.filter(photo=OuterRef("pk")))).count()
    return RoundProgress(
        photos=found.n_photos,
        looked_into=found.n_looked_into,
        sorted=found.n_sorted,
        measured=measured,
        reviewed=found.n_reviewed,
        in_trouble=found.n_in_trouble,
        set_aside=found.n_set_aside,
    )


def photos_of(thing: Colony | Plug) -> QuerySet:
    """The photos of a colony or a plug that count, the latest first."""
    return Photo.objects.in_use().filter(**{"colony" if isinstance(thing, Colony) else "plug": thing})


@dataclass(frozen=True)
class PhotoStrip:
    """The latest photos of a colony or a plug that can be shown, and how many there are in all."""

    photos: list[Photo]
    number: int


def strip_of(thing: Colony | Plug, most: int = 6) -> PhotoStrip:
    """The latest pictures of a colony or a plug. Two queries, one if there are few."""
    found = list(photos_of(thing).exclude(thumbnail="")[: most + 1])
    number = len(found) if len(found) <= most else photos_of(thing).exclude(thumbnail="").count()
    return PhotoStrip(found[:most], number)


LAST_PHOTO = Photo.objects.filter(colony=OuterRef("pk"), set_aside_on=None).order_by("-taken_on", "-taken_time", "-pk")


def photographed(day: date) -> QuerySet:
    """Living colonies, each with ``photographed_on``, ``last_photo_id`` and whether it ``is_due``, the longest first.

    A colony is due that was not photographed for a month, or never since it came a month ago or more.
    """
    due_since = day - timedelta(days=DAYS_BETWEEN_PHOTOS)
    return (
        Colony.objects.alive()
        .select_related("lineage")
        .annotate(
            photographed_on=Subquery(LAST_PHOTO.values("taken_on")[:1]),
            last_photo_id=Subquery(LAST_PHOTO.values("pk")[:1]),
        )
        .annotate(
            is_due=ExpressionWrapper(
                Q(began_on__lte=due_since) & (Q(photographed_on=None) | Q(photographed_on__lte=due_since)),
                BooleanField(),
            )
        )
        .order_by("-is_due", F("photographed_on").asc(nulls_first=True), "tag")
    )


def colonies_to_photograph(day: date) -> list[str]:
    """Tags of living colonies without a photo for a month, the longest first; none if none was ever photographed.

    Two queries.
    """
    if not Photo.objects.filter(colony__isnull=False, set_aside_on=None).exists():
        return []
    return list(photographed(day).filter(is_due=True).values_list("tag", flat=True))


def never_photographed() -> list[str]:
    """Tags of living colonies that no photo shows. One query."""
    return list(Colony.objects.alive().exclude(Exists(LAST_PHOTO)).order_by("tag").values_list("tag", flat=True))


def with_last_photo(colonies: Iterable[Colony]) -> list[Colony]:
    """The colonies of a page of `photographed`, each with its ``last_photo``, or None. One query."""
    colonies = list(colonies)
    found = Photo.objects.in_bulk([colony.last_photo_id for colony in colonies if colony.last_photo_id])
    for colony in colonies:
        colony.last_photo = found.get(colony.last_photo_id)
    return colonies


def left_behind(now: datetime) -> tuple[list[int], list[int]]:
    """Photos that nobody looks into any more: ``(to be asked for again, given up after MOST_TRIES)``. Two queries.

    A worker that was killed leaves its task marked as running for ever; such a photo is asked for again once that began
    long enough ago. One for which a task waits is not.
    """
    before = now - LEFT_BEHIND_AFTER
    waiting = set(
        Photo.objects.waiting().filter(arrived_at__lte=before, set_aside_on=None).values_list("pk", flat=True)
    )
    if not waiting:
        return [], []
    coming, tries = set(), dict.fromkeys(waiting, 0)
    tasks = DBTaskResult.objects.filter(task_path=LOOK_INTO, status__in=["READY", "RUNNING"])
    for status, started_at, asked in tasks.values_list("status", "started_at", "args_kwargs"):
        pk = asked["args"][0]
        if pk not in waiting:
            continue
        if status == "READY" or started_at > before:
            coming.add(pk)
        else:
            tries[pk] += 1
    given_up = [pk for pk in sorted(waiting - coming) if tries[pk] >= MOST_TRIES]
    return sorted(waiting - coming - set(given_up)), given_up

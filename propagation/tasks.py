"""What the yield model does in the background. Each may run late, twice, or die half-way and run again."""

from django.utils import timezone
from django_tasks import task

from propagation.actions.look_into_photo import look_into
from propagation.actions.make_film import make_growth_film
from propagation.forecasts import learning, outlooks
from propagation.models import ForecastMark


@task()
def follow_records() -> int:
    """Bring outlooks up to date after records changed; learn again what has been outgrown. Returns outlooks written."""
    today = timezone.localdate()
    written = outlooks.bring_up_to_date(today)
    if learning.outgrown():
        learning.learn_what_is_outgrown(today)
        ForecastMark.objects.create(colony=None)
        written += outlooks.bring_up_to_date(today)
    return written


@task()
def look_into_photo(photo_id: int) -> bool:
    """Open, sort and measure a photo that was added or sorted by hand. Returns whether this run did it."""
    return look_into(photo_id=photo_id, today=timezone.localdate())


@task()
def make_film(film_id: int) -> bool:
    """Make a film that was asked for. Returns whether this run did it."""
    return make_growth_film(film_id=film_id, now=timezone.now())

"""What the yield model does in the background. Each may run late, twice, or die half-way and run again."""

from django.utils import timezone
from django_tasks import task

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

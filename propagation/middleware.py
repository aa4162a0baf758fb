"""What happens around every request."""

from django.conf import settings

from propagation.models import ForecastMark

SAFE = ("GET", "HEAD", "OPTIONS", "TRACE")


class OutlooksFollowRecords:
    """After a request that changed records which forecasts rest on, have the worker bring the forecasts up to date.

    So they are ready when a page asks, and what was said is stored when it is said. A page that comes first does the
    work itself.
    """

    def __init__(self, get_response):
        self.get_response = get_response

    def __call__(self, request):
        response = self.get_response(request)
        if (
            settings.OUTLOOKS_FOLLOW_RECORDS
            and request.method not in SAFE
            and response.status_code < 400
            and request.user.is_authenticated
            and ForecastMark.objects.exists()
        ):
            from propagation.tasks import follow_records

            follow_records.enqueue()
        return response

"""The size of a colony on the days to come, as a band for a picture."""

from datetime import date, timedelta

import numpy as np

from propagation.forecasts.keeping import model_from_json, states_from_json
from propagation.models import ColonyOutlook
from propagation.pictures.growth_curve import ForecastPoint
from propagation.yield_model.forecast import forecast_sizes

PROBABILITIES = (0.1, 0.25, 0.5, 0.75, 0.9)
# A picture looks ahead as far as the next cut and a little more, within these bounds.
SHORTEST, LONGEST = timedelta(days=120), timedelta(days=420)


def look_ahead(outlook: ColonyOutlook) -> date:
    """How far a picture of this colony should look: past its next cut, within bounds."""
    wanted = (outlook.day or outlook.earliest or outlook.for_day) + timedelta(days=45)
    return min(max(wanted, outlook.for_day + SHORTEST), outlook.for_day + LONGEST)


def size_band(outlook: ColonyOutlook, until: date, *, points: int = 25) -> list[ForecastPoint]:
    """The forecast of a colony's size if it is not cut, from the outlook's day on."""
    start, end = outlook.for_day.toordinal(), max(until, outlook.for_day).toordinal()
    days = np.unique(np.linspace(start, end, points).round())
    model = model_from_json(outlook.growth.model)
    seen = forecast_sizes(model, states_from_json([outlook.state], [str(outlook.colony_id)]), days[None, :])
    quantiles = [seen.quantile(probability)[0] for probability in PROBABILITIES]
    return [
        ForecastPoint(date.fromordinal(int(day)), *(float(quantile[index]) for quantile in quantiles))
        for index, day in enumerate(days)
    ]

"""How fast the yield model is: run `python tests/speed/bench_yield_model.py`; it prints figures and asserts nothing.

10,000 mothers with 24 readings each, forecast from cold, beside a bare numpy recursion of the same size and
statsmodels' `UnobservedComponents` on a few of the colonies; memory beside the number of forecasts; the next cuts of
200 mothers.
"""

import sys
import time
import tracemalloc
import warnings
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from propagation.yield_model.backtest import learn_model
from propagation.yield_model.forecast import forecast_sizes, view_colonies
from propagation.yield_model.histories import pad_arrays
from propagation.yield_model.next_cut import Circumstances, default_rules, next_cuts

MOTHERS, READINGS, LINEAGES = 10_000, 24, 40


def make_collection(mothers, readings=READINGS, seed=1):
    """Colonies measured about monthly, growing by a share of their size, of a few dozen lineages."""
    generator = np.random.default_rng(seed)
    gaps = generator.integers(20, 41, size=(mothers, readings)).astype(float)
    gaps[:, 0] = 0
    days = np.cumsum(gaps, axis=1)
    lineage = generator.integers(0, LINEAGES, size=mothers)
    rate = generator.normal(0.003, 0.001, LINEAGES)[lineage] + generator.normal(0, 0.0005, mothers)
    noise = np.cumsum(generator.normal(0, 0.003, days.shape) * np.sqrt(gaps), axis=1)
    sizes = np.exp(np.log(10) + rate[:, None] * days + noise + generator.normal(0, 0.03, days.shape))
    return days, sizes, [f"line {number}" for number in lineage]


def bare_recursion(days, values, q=1e-5, drift=1e-10, error=1e-3, mean=0.003, variance=1e-6):
    """The textbook two-state Kalman recursion and nothing else, over all colonies at once, and one forecast."""
    days, values = np.ascontiguousarray(days.T), np.ascontiguousarray(values.T)
    level, rate = values[0].copy(), np.full(values.shape[1], mean)
    uu, ur, rr = np.full_like(level, error), np.zeros_like(level), np.full_like(level, variance)
    for event in range(1, len(days)):
        step = days[event] - days[event - 1]
        level = level + step * rate
        uu = uu + 2 * step * ur + step**2 * rr + q * step + drift * step**3 / 3
        ur = ur + step * rr + drift * step**2 / 2
        rr = rr + drift * step
        total = uu + error
        surprise = values[event] - level
        first, second = uu / total, ur / total
        level, rate = level + first * surprise, rate + second * surprise
        rr = rr - second * ur
        ur = ur - first * ur
        uu = uu - first * uu
    ahead = 90.0
    middle = level + ahead * rate
    spread = np.sqrt(uu + 2 * ahead * ur + ahead**2 * rr + q * ahead + drift * ahead**3 / 3)
    return np.exp(middle), np.exp(middle - 1.28 * spread), np.exp(middle + 1.28 * spread)


def best_of(function, times=5):
    taken = []
    for _ in range(times):
        start = time.process_time()
        function()
        taken.append(time.process_time() - start)
    return min(taken)


def main():
    """Print the figures."""
    days, sizes, lineages = make_collection(MOTHERS)

    def forecast_cold(model):
        padded = pad_arrays(days, sizes, lineages=lineages)
        states = view_colonies(model, padded)
        forecast = forecast_sizes(model, states, states.last_day + 90)
        return forecast.median, *forecast.interval(0.8)

    def learn():
        return learn_model(pad_arrays(days, sizes, lineages=lineages), measure="area_cm2", growth_form="plating")

    learning = best_of(learn, 1)
    model = learn()
    ours = best_of(lambda: forecast_cold(model))
    bare = best_of(lambda: bare_recursion(days, np.log(sizes)))
    print(f"{MOTHERS} mothers, {READINGS} readings each")
    print(f"  learning the collection          {learning:8.3f} s")
    print(f"  forecast from cold               {ours:8.3f} s")
    print(f"  learning and forecast            {learning + ours:8.3f} s   (bar: 2 s)")
    print(f"  bare numpy recursion             {bare:8.3f} s")
    print(f"  forecast over bare recursion     {ours / bare:8.2f} ×   (bar: 4 ×)")

    for mothers in (2_500, 10_000, 40_000):
        some_days, some_sizes, some_lineages = make_collection(mothers)
        padded = pad_arrays(some_days, some_sizes, lineages=some_lineages)
        tracemalloc.start()
        states = view_colonies(model, padded)
        forecast_sizes(model, states, states.last_day + 90).interval(0.8)
        peak = tracemalloc.get_traced_memory()[1] / 1e6
        tracemalloc.stop()
        results = mothers * 12 * 8 / 1e6
        print(f"  {mothers:6d} mothers: peak {peak:6.1f} MB beyond the readings; the answers are {results:.1f} MB")

    rules = [default_rules("area_cm2", "plating")] * 200
    states = view_colonies(model, pad_arrays(days[:200], sizes[:200], lineages=lineages[:200]))
    taken = best_of(lambda: next_cuts(model, states, rules, [Circumstances()] * 200, float(days.max())))
    print(f"  next cuts of 200 mothers         {taken:8.3f} s   (bar of the page: 0.3 s)")

    try:
        from statsmodels.tsa.statespace.structural import UnobservedComponents
    except ImportError:
        print("  statsmodels is not installed: no comparison")
        return
    few = 5
    start = time.process_time()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for row in range(few):
            fitted = UnobservedComponents(np.log(sizes[row]), "local linear trend").fit(disp=False)
            fitted.get_forecast(3).conf_int()
    each = (time.process_time() - start) / few
    print(
        f"  per colony: ours {(learning + ours) / MOTHERS * 1e6:.0f} µs with learning, statsmodels {each * 1e6:.0f} µs"
    )
    print(f"  faster than statsmodels by       {each / ((learning + ours) / MOTHERS):8.0f} ×   (bar: 100 ×)")


if __name__ == "__main__":
    main()

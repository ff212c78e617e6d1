"""The part `by itself` of the sweep with pandas and scipy, to compare with.

    python3 sweep.py [animals]        (pandas, scipy)

Per animal, from five years of weekly weights with one in ten missing: the lagged median of a year and its
MAD week by week, a CUSUM and an EWMA on the standardised residuals, and Theil-Sen with Mann-Kendall over
the last eight weeks. It leaves out what the crate does beside that: the animal's own season anew each
year, episodes, refusals, doubtful readings.
"""

import resource
import sys
import time

import numpy as np
import pandas as pd
from scipy import stats

WEEKS = 260


def herd(animals: int) -> pd.DataFrame:
    chance = np.random.default_rng(1)
    week = np.arange(WEEKS)
    wander = np.zeros((animals, WEEKS))
    for now in week[1:]:
        wander[:, now] = 0.88 * wander[:, now - 1] + chance.normal(0, 0.006, animals)
    season = 0.05 * np.sin(week * 2 * np.pi / 52.18)
    log = chance.normal(8, 0.5, (animals, 1)) + wander + season + chance.normal(0, 0.015, (animals, WEEKS))
    seen = chance.random((animals, WEEKS)) > 0.1
    animal, week = np.nonzero(seen)
    return pd.DataFrame({"animal": animal, "week": week, "log": log[seen]})


def watch(group: pd.DataFrame) -> tuple:
    log = group.set_index("week")["log"].reindex(range(WEEKS))
    reference = log.shift(8).rolling(52, min_periods=4).median()
    rest = log - reference
    spread = 1.4826 * rest.abs().shift(8).rolling(52, min_periods=4).median()
    spread = np.sqrt((8 * 0.02**2 + 52 * spread.fillna(0.02) ** 2) / 60)
    sums = 0.0
    for value in (rest / spread).dropna().clip(-4, 4):
        sums = max(0.0, sums - value - 1.5)
    level = rest.ewm(alpha=0.3).mean().iloc[-1]
    late = log.iloc[-8:].dropna()
    if len(late) < 3:
        return sums, level, np.nan, np.nan, np.nan, np.nan
    slope = stats.theilslopes(late.to_numpy(), late.index.to_numpy())
    order = stats.kendalltau(late.index, late).pvalue
    return sums, level, slope.slope, slope.low_slope, slope.high_slope, order


if __name__ == "__main__":
    animals = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    readings = herd(animals)
    start = time.process_time()
    told = [watch(group) for _, group in readings.groupby("animal")]
    seconds = time.process_time() - start
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    print(f"{animals} animals, {len(readings)} readings: {seconds:.2f} s of CPU, peak memory {peak} kB")

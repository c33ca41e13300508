"""Normal tolerance factors: how many standard deviations hold a share of all future values.

A mean and a standard deviation that were estimated from few readings are uncertain; the factors
make up for both. The values are taken to be normal.
"""

import math

from scipy.stats import chi2, nct, norm

from satcheck.statistics.intervals import CONFIDENCE


def one_sided_factor(
    share: float, readings: float, confidence: float = CONFIDENCE, df: float | None = None
) -> float:
    """Return k: a share of all values lies below mean + k sd, with a confidence.

    Exact by the non-central t (Owen 1968; NIST/SEMATECH e-Handbook, 7.2.6.3).

    Parameters
    ----------
    share, confidence : float
        0 to 1, both ends excluded.
    readings : float
        How many the mean rests on, 2 and more.
    df : float or None
        Degrees of freedom of the standard deviation; readings - 1 where it is None.
    """
    freedom = readings - 1 if df is None else df
    shift = float(norm.ppf(share)) * math.sqrt(readings)
    return float(nct.ppf(confidence, freedom, shift)) / math.sqrt(readings)


def two_sided_factor(
    share: float, readings: float, confidence: float = CONFIDENCE, df: float | None = None
) -> float:
    """Return k: a share of all values lies within mean ± k sd, with a confidence.

    Howe's approximation (J. Am. Stat. Assoc. 64, 1969); see `one_sided_factor`.
    """
    freedom = readings - 1 if df is None else df
    z = float(norm.ppf((1 + share) / 2))
    return z * math.sqrt(freedom * (1 + 1 / readings) / float(chi2.ppf(1 - confidence, freedom)))

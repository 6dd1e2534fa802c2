"""Technical error of measurement (TEM) and the smallest change that exceeds it.

S. J. Ulijaszek, D. A. Kerr, "Anthropometric measurement error and the assessment of nutritional status",
*Br J Nutr* 82:165-177 (1999): TEM for two readings and for several observers, %TEM, reliability R. The
smallest detectable change is the usual 95 % one for a difference of two readings, 1.96·√2·SEM.

All functions keep the unit of the readings (metres in, metres out). They describe the measuring, not a
treatment: a change below the smallest detectable change cannot be told from measuring error.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray


def tem(first: ArrayLike, second: ArrayLike) -> float:
    """TEM of paired readings, sqrt(Σd²/2n).

    `first`, `second`: (n,) readings of the same n people or sites. Raises ValueError for unequal or no pairs.
    """
    a, b = np.asarray(first, dtype=np.float64), np.asarray(second, dtype=np.float64)
    if a.shape != b.shape or a.ndim != 1 or a.size == 0:
        raise ValueError(f"first has {a.size} readings and second {b.size}: give one of each per person")
    return float(np.sqrt(np.sum((a - b) ** 2) / (2 * a.size)))


def multi_observer_tem(readings: ArrayLike) -> float:
    """TEM over several observers, sqrt{Σ_i [ΣM² − (ΣM)²/K] / (N(K−1))}.

    `readings`: (N, K), N people by K observers (or repeated readings). K = 2 gives `tem`. Raises ValueError
    unless N ≥ 1 and K ≥ 2.
    """
    M = _table(readings)
    N, K = M.shape
    within = np.sum((M - M.mean(axis=1, keepdims=True)) ** 2)
    return float(np.sqrt(within / (N * (K - 1))))


def percent_tem(error: float, readings: ArrayLike) -> float:
    """TEM as a percentage of the mean of all readings (any shape) [%]. Raises ValueError if the mean is 0."""
    mean = float(np.mean(np.asarray(readings, dtype=np.float64)))
    if mean == 0.0:
        raise ValueError("the mean of the readings is 0: a percentage of it has no meaning")
    return 100.0 * error / mean


def reliability(error: float, readings: ArrayLike) -> float:
    """R = 1 − TEM²/SD²: the part of the variance between readings that is not measuring error.

    `readings`: (N, K); SD over all N·K readings (n − 1). Raises ValueError if they are all alike.
    """
    variance = float(np.var(_table(readings), ddof=1))
    if variance == 0.0:
        raise ValueError("all readings are alike: reliability has no meaning")
    return 1.0 - error**2 / variance


def mdc95(error: float, readings_per_visit: int = 1) -> float:
    """Smallest change between two visits beyond measuring error, 95 %: 1.96·√2·SEM/√r.

    `error`: TEM or SEM of one reading; `readings_per_visit` r ≥ 1 readings averaged at each visit. Averaging
    only helps against errors that differ between readings, not against finding the same place again.
    Raises ValueError for r < 1.
    """
    if readings_per_visit < 1:
        raise ValueError(f"readings_per_visit is {readings_per_visit}: at least 1 is needed")
    return float(1.96 * np.sqrt(2.0) * error / np.sqrt(readings_per_visit))


def _table(readings: ArrayLike) -> NDArray[np.float64]:
    M = np.asarray(readings, dtype=np.float64)
    if M.ndim != 2 or M.shape[0] < 1 or M.shape[1] < 2:
        raise ValueError(
            f"readings have shape {M.shape}: give people in rows and two or more readings in columns"
        )
    return M

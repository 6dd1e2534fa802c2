"""TEM against published data (P): Ulijaszek and Kerr, *Br J Nutr* 82:165 (1999), 10 people x 4 observers.

The results for these data were computed from the paper's formulas (C).
"""

import numpy as np
import pytest

from evenfield.outcome.error_of_measurement import (
    mdc95,
    multi_observer_tem,
    percent_tem,
    reliability,
    tem,
)

HEIGHT_M = np.array(
    [
        [0.865, 0.863, 0.863, 0.864],
        [1.023, 1.023, 1.027, 1.025],
        [0.982, 0.980, 0.989, 0.985],
        [0.817, 0.816, 0.812, 0.817],
        [0.901, 0.894, 0.900, 0.903],
        [0.880, 0.876, 0.881, 0.881],
        [0.948, 0.947, 0.947, 0.946],
        [0.906, 0.905, 0.907, 0.908],
        [0.924, 0.924, 0.926, 0.924],
        [0.989, 0.987, 1.002, 0.993],
    ]
)


def test_four_observers() -> None:
    error = multi_observer_tem(HEIGHT_M)
    assert error == pytest.approx(0.003063, abs=5e-7)
    assert percent_tem(error, HEIGHT_M) == pytest.approx(0.332, abs=5e-4)
    assert reliability(error, HEIGHT_M) == pytest.approx(0.99755, abs=5e-6)


def test_two_observers_by_either_formula() -> None:
    assert tem(HEIGHT_M[:, 0], HEIGHT_M[:, 1]) == pytest.approx(multi_observer_tem(HEIGHT_M[:, :2]))


def test_tem_of_known_differences() -> None:
    """Differences 1, 1, 2 cm: sqrt(6 / 6) = 1."""
    assert tem([10.0, 20.0, 30.0], [11.0, 19.0, 32.0]) == pytest.approx(1.0)


def test_a_girth_tem_of_one_centimetre_hides_changes_below_2_77() -> None:
    assert mdc95(1.0) == pytest.approx(2.77, abs=5e-3)
    assert mdc95(1.0, 4) == pytest.approx(2.77 / 2.0, abs=3e-3)


def test_bad_input_is_refused_in_one_sentence() -> None:
    with pytest.raises(ValueError, match="first has 2 readings and second 3"):
        tem([1.0, 2.0], [1.0, 2.0, 3.0])
    with pytest.raises(ValueError, match="people in rows"):
        multi_observer_tem([1.0, 2.0])
    with pytest.raises(ValueError, match="at least 1"):
        mdc95(1.0, 0)
    with pytest.raises(ValueError, match="mean of the readings is 0"):
        percent_tem(1.0, [0.0, 0.0])
    with pytest.raises(ValueError, match="all readings are alike"):
        reliability(1.0, [[1.0, 1.0]])

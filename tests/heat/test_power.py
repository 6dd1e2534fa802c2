"""The power curve: steps, pauses and its end."""

import pytest

from evenfield.heat.power import PowerCurve

CURVE = PowerCurve((0.0, 300.0, 420.0), (40.0, 0.0, 60.0), 900.0)


def test_power_at_and_around_its_breaks() -> None:
    times = (-1.0, 0.0, 299.9, 300.0, 419.9, 420.0, 899.9, 900.0, 2000.0)
    assert [CURVE.at(t) for t in times] == [0, 40, 40, 0, 0, 60, 60, 0, 0]
    assert CURVE.breaks() == (0.0, 300.0, 420.0, 900.0)


def test_energy_and_scale() -> None:
    assert CURVE.energy_j() == 40 * 300 + 60 * 480
    assert CURVE.scaled(0.5).energy_j() == 0.5 * CURVE.energy_j()
    assert CURVE.scaled(0.5).breaks() == CURVE.breaks()
    assert PowerCurve.constant(50.0, 60.0) == PowerCurve((0.0,), (50.0,), 60.0)


@pytest.mark.parametrize(
    ("start", "watts", "end", "sentence"),
    [
        ((), (), 1.0, "given 0 starts and 0 powers"),
        ((0.0, 1.0), (1.0,), 2.0, "given 2 starts and 1 powers"),
        ((1.0,), (1.0,), 2.0, r"must ascend from 0 to its end; given 1, 2 s"),
        ((0.0, 5.0, 5.0), (1.0, 2.0, 3.0), 9.0, r"must ascend from 0 to its end; given 0, 5, 5, 9 s"),
        ((0.0, 5.0), (1.0, 2.0), 5.0, r"must ascend from 0 to its end; given 0, 5, 5 s"),
        ((0.0,), (1.0,), float("inf"), "must ascend"),
        ((0.0,), (-1.0,), 2.0, r"powers must be finite and not negative; given -1 W"),
        ((0.0,), (float("nan"),), 2.0, r"powers must be finite and not negative; given nan W"),
    ],
)
def test_impossible_curves(
    start: tuple[float, ...], watts: tuple[float, ...], end: float, sentence: str
) -> None:
    with pytest.raises(ValueError, match=sentence):
        PowerCurve(start, watts, end)

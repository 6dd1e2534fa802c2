"""A small line of one quantity over the visits with the band of measuring error around the first number."""

from dataclasses import dataclass

from evenfield.clinic.measuring.change import Series

WIDTH, HEIGHT, EDGE = 180.0, 56.0, 6.0


@dataclass(frozen=True)
class Chart:
    """Points in a drawing of WIDTH by HEIGHT; the band is top and height."""

    points: tuple[tuple[float, float], ...]
    band_top: float
    band_height: float
    width: float = WIDTH
    height: float = HEIGHT

    @property
    def line(self) -> str:
        """The points as an SVG polyline has them."""
        return " ".join(f"{x:.1f},{y:.1f}" for x, y in self.points)


def chart(course: Series) -> Chart | None:
    """Time to the right, value upwards; None for a single number."""
    if course.change is None:
        return None
    values = [one.value for one in course.numbers]
    times = [one.at.timestamp() for one in course.numbers]
    band = course.change.smallest_real
    low, high = min([*values, values[0] - band]), max([*values, values[0] + band])
    across = (WIDTH - 2 * EDGE) / ((times[-1] - times[0]) or 1.0)
    upward = (HEIGHT - 2 * EDGE) / ((high - low) or 1.0)

    def y(value: float) -> float:
        return round(HEIGHT - EDGE - upward * (value - low), 1)

    points = tuple(
        (round(EDGE + across * (time - times[0]), 1), y(value))
        for time, value in zip(times, values, strict=True)
    )
    top = y(values[0] + band)
    return Chart(points, top, round(y(values[0] - band) - top, 1))

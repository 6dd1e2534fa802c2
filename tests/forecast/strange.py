"""Cases that could be typed honestly and that nobody had in mind: drawn at random, reproducible."""

import numpy as np

from evenfield.body import InputError
from evenfield.case import Case, case_from_toml

GIRTHS = {
    "abdomen": (650, 1500),
    "flank": (650, 1500),
    "thigh": (380, 900),
    "above_knee": (300, 650),
    "upper_arm": (200, 500),
    "calf": (260, 520),
}


def strange_text(rng: np.random.Generator) -> str:
    """A case file: any kind of region, fat from 4 to 60 mm that may differ by direction and level, tapering
    girths, one to four panels of 40 to 300 mm round the region or in a row along it, tilted up to 8°."""

    def one(*of: float) -> float:
        return float(rng.choice(of))

    kind = str(rng.choice(list(GIRTHS)))
    low, high = GIRTHS[kind]
    levels = np.linspace(-1, 1, int(rng.integers(2, 6))) * rng.uniform(60, 250)
    end = levels[-1]
    girth = np.clip(
        rng.uniform(low, high) * (1 + one(-0.5, -0.2, 0, 0.2, 0.5) * levels / (2 * end)), low, high
    )
    fat = [5.0, 60.0, rng.uniform(8, 35), None][int(rng.integers(4))]
    rows = [rng.uniform(4, 60, 4) if fat is None else [fat] * 4 for _ in levels]
    table = ", ".join(
        "{{ front = {:.1f}, inner = {:.1f}, back = {:.1f}, outer = {:.1f} }}".format(*row) for row in rows
    )
    text = f"""[region]
kind = "{kind}"
levels_mm = {[round(float(z), 1) for z in levels]}
girth_mm = {[round(float(g)) for g in girth]}
width_to_depth = {one(0.8, 1.0, 1.2, 1.35, 1.7)}
fat_mm = [{table}]
skin_mm = {one(1, 2, 5)}
fat = "{rng.choice(["average_infiltrated", "not_infiltrated"])}"
[tissue]
set = "{rng.choice(["default", "constant_flow"])}"
[room]
air_c = {one(10, 23, 40)}
air_speed_m_s = {one(0, 0.5, 5)}
humidity = {one(0, 0.5, 1)}
wettedness = {one(0, 0.06, 1)}
drape_clo = {one(0, 0.5, 4)}
[session]
steps = [{{ minute = 0, absorbed_w = {rng.uniform(2, 30):.0f} }}, {{ minute = 7.3, absorbed_w = 0 }},
         {{ minute = 9, absorbed_w = {rng.uniform(2, 60):.0f} }}]
minutes = 16
after_minutes = 5
"""
    count = int(rng.integers(1, 5))
    in_a_row = bool(rng.integers(2))
    first = rng.uniform(0, 360)
    for n in range(count):
        length = min(one(40, 80, 140, 300), 2 * end / count - 14 if in_a_row else 2 * end - 1)
        level = (2 * n + 1 - count) * end / count if in_a_row else one(-1, 0, 1) * (end - length / 2)
        text += f"""[[panel]]
shape = "{rng.choice(["flat", "curved"])}"
angle_deg = {(first + (rng.uniform(-20, 20) if in_a_row else 360 * n / count)) % 360:.1f}
level_mm = {level:.1f}
width_mm = {one(40, 60, 90, 140, 300)}
length_mm = {max(length, 20):.1f}
gap_mm = {one(5, 12, 20, 30)}
tilt_across_deg = {one(-8, -3, 0, 3, 8)}
tilt_along_deg = {one(-8, -3, 0, 3, 8)}
drive = {one(1, 0.5) * (-1 if n % 2 else 1)}
"""
    return text


def strange_cases(count: int, seed: int) -> tuple[list[Case], list[InputError]]:
    """So many cases that may be computed, and how those drawn between them were refused."""
    rng = np.random.default_rng(seed)
    cases: list[Case] = []
    refused: list[InputError] = []
    while len(cases) < count:
        try:
            cases.append(case_from_toml(strange_text(rng)))
        except InputError as error:
            refused.append(error)
    return cases, refused

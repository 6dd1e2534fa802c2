"""What a live visit needs of its plan: the reduced heat model with its ways to be wrong, zones and beliefs.

The heat model is built on the forecast's coarse grid (twice the cell size), once, when the plan is made. Its
first source is the planned placement. The further ones are the same with a panel's gap smaller or larger, or
tilted either way, and the planned placement with the other published fat: a placement error mixes them
(`follow.members`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from evenfield.applicator import Panel
from evenfield.case import Case
from evenfield.field import Field, solve_field
from evenfield.follow.model import STEPS, FollowModel, FollowPanel, FollowZone
from evenfield.follow.prior import DEFAULT_PRIOR, Prior
from evenfield.follow.spots import spots
from evenfield.forecast.accuracy import chosen_layout
from evenfield.forecast.engine import Setting, bioheat_of, setting_of
from evenfield.forecast.zones import make_zones
from evenfield.grid.fit import fit
from evenfield.grid.layout import Layout
from evenfield.heat.bioheat import Bioheat
from evenfield.heat.reduced_build import build_reduced
from evenfield.heat.stepping import steady
from evenfield.tissue import FatKind

Floats = NDArray[np.float64]
Progress = Callable[[float], None]
"""Called with the share of the work done, 0 to 1; may raise to cancel."""


def prepare(
    case: Case,
    *,
    prior: Prior = DEFAULT_PRIOR,
    layout: Layout | None = None,
    progress: Progress | None = None,
) -> FollowModel:
    """Build the model of a plan: some seconds on the coarse grid.

    `layout`: a grid to use instead of the forecast's coarse one. Powers up to about twice the plan's highest
    are covered. Raises what the forecast raises for a placement that is not possible.
    """
    tell = progress or (lambda _: None)
    layout = layout or chosen_layout(case.region, case.placed).coarser()
    setting = setting_of(case)
    field = _field(case, setting, layout)
    model = bioheat_of(case, setting, field)
    zones = make_zones(field.grid, case.placed, case.measurements.kind.trunk)
    variants = list(_variants(case, setting))
    sources = []
    for n, (varied, tissues) in enumerate(variants):
        tell(0.3 * n / len(variants))
        source = model.with_source(_field(varied, tissues, layout).heating).source
        sources.append(source * (model.source.sum() / source.sum()))
    tell(0.3)
    start = steady(model)
    watts = 1.3 * max(case.session.absorbed()[1].watts)
    heat = build_reduced(model, watts, zones.mean, zones.inside, sources=sources, baseline_c=start)
    tell(0.95)
    skin = range(0, len(zones.zones), 2)
    patches = tuple(
        FollowZone(f"{zone.panel}: {zone.name}", zone.panel, zone.name) for zone in zones.zones[::2]
    )
    surface = [_surface(model, zones.inside[n]) for n in skin]
    size = np.array([area.sum() for _nodes, area in surface])
    nothing = np.zeros(len(patches))
    whole = FollowModel(
        title=case.title,
        heat=heat,
        zones=patches,
        panels=tuple(
            FollowPanel(p.name, p.width_m, p.length_m, p.gap_m - _moved(p, "gap_m", -STEPS["gap_m"]))
            for p in case.panels
        ),
        spot_k=nothing,
        spot_share=nothing,
        area=size / size.sum(),
        fraction=case.session.absorbed_fraction,
        band_c=case.session.band_c,
        prior=prior,
    )
    spot_k, spot_share = spots(whole, watts, surface)
    bare = replace(heat, start_c=np.zeros((0, 0, 0)), shapes=np.zeros((0, 0, 0, heat.rates.size), np.float32))
    tell(1.0)
    return replace(whole, heat=bare, spot_k=spot_k, spot_share=spot_share)


def _field(case: Case, setting: Setting, layout: Layout) -> Field:
    grid = fit(layout, case.region, case.placed)
    return solve_field(grid, setting.materials, [p.drive for p in case.panels], residual=1e-6)


def _variants(case: Case, setting: Setting) -> Iterator[tuple[Case, Setting]]:
    """Cases and tissues of the further sources, in order."""
    for panel in case.panels:
        for name, step in STEPS.items():
            for sign in (1, -1):
                yield case.with_panel(panel.name, **{name: _moved(panel, name, sign * step)}), setting
    other = next(kind for kind in FatKind if kind is not case.fat_kind)
    varied = replace(case, fat_kind=other)
    yield varied, setting_of(varied)


def _moved(panel: Panel, name: str, by: float) -> float:
    """The panel's value with an error; a gap is at most halved."""
    value: float = getattr(panel, name)
    return max(value + by, 0.5 * value) if name == "gap_m" else value + by


def _surface(model: Bioheat, nodes: NDArray[np.int64]) -> tuple[NDArray[np.int64], Floats]:
    """Those of the nodes that lie on the skin's surface, and their areas, m²."""
    last = model.capacity.shape[2] - 1
    on = nodes[nodes % (last + 1) == last]
    return on, model.area.ravel()[on // (last + 1)]

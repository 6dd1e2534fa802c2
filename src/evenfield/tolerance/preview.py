"""A preview: a what-if near a base case answered in a few hundredths of a second, with its measured error.

The heating comes from `tolerance.learned`, the temperatures from the base's reduced heat model under that
heating and the changed exchange of the skin, in the grid's own coordinates, which move with the panels. What
this misses is measured against full answers when the preview is built, and told with each answer.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from evenfield.case import Case
from evenfield.forecast.engine import clearance_of, evenness_under, exchange_of
from evenfield.forecast.tuning import expected_tuning
from evenfield.forecast.zones import make_zones
from evenfield.grid.fit import Grid, fit
from evenfield.grid.layout import Layout
from evenfield.heat.bioheat import facets_to_nodes, skin_facets, spread_to_nodes
from evenfield.heat.reduced import ReducedHeat
from evenfield.heat.skin import SkinExchange, saturation_kpa
from evenfield.tolerance.answer import PreviewError, WhatIfAnswer
from evenfield.tolerance.learned import Kriging, Stack, nearest_panel
from evenfield.tolerance.nearby import Nearby
from evenfield.tolerance.outcome import (
    PlacementOutcome,
    band_reached,
    hottest_skin,
    in_fat,
    looked_at,
    table_layout,
)
from evenfield.tolerance.what_if import WhatIf

Floats = NDArray[np.float64]
THICKER = 0.7
"""Heating per volume counts as this power of the fat's thickness against the base's (fitted by trial on one
example): between 0, heat that has not yet crossed the fat, and 1, heat carried off at the fat's faces."""
WARM_C = 38.0
"""Skin temperature about which evaporation is linear where its coefficient differs from the base's, °C."""


@dataclass(frozen=True)
class PreviewFrame:
    """What a base case gives every preview: its layout and grid, each column's nearest panel, skin area of
    the columns, exchange, thickness of fat over the cells, and which zones are of fat."""

    layout: Layout
    grid: Grid
    nearest: NDArray[np.int64]
    area: Floats
    exchange: SkinExchange
    fat_m: Floats
    fat_zones: NDArray[np.bool_]

    @classmethod
    def of(cls, case: Case) -> PreviewFrame:
        """The base case's own."""
        layout = table_layout(case)
        grid = fit(layout, case.region, case.placed)
        return cls(
            layout=layout,
            grid=grid,
            nearest=nearest_panel(grid),
            area=facets_to_nodes(skin_facets(grid)).ravel(),
            exchange=exchange_of(case, grid),
            fat_m=fat_thickness(grid),
            fat_zones=in_fat(make_zones(grid, case.placed, case.measurements.kind.trunk)),
        )

    def source(self, grid: Grid, heating: Floats) -> Floats:
        """Watts per watt absorbed at the base's nodes for the heating (cells of the body) on a bent grid."""
        thicker = (fat_thickness(grid) / self.fat_m) ** THICKER
        return spread_to_nodes(heating * thicker[:, :, None] * self.grid.volume[:, :, : self.grid.skin_node])


def fat_thickness(grid: Grid) -> Floats:
    """Thickness of fat along each column of cells, shape (nk − 1, nj), m."""
    cells = grid.cells_of("fat")
    inner, outer = (np.hypot(*grid.nodes[:2, :, :, i]) for i in (cells.start, cells.stop))
    columns = outer - inner
    pair = columns + np.roll(columns, -1, axis=1)
    return np.asarray(0.25 * (pair[:-1] + pair[1:]))


@dataclass(frozen=True)
class WhatIfPreview:
    """Previews of what-ifs near `case`. `base`: the full answer for it; `learned`: log heating over the
    stack's in all cells of the body, then log |Y| over the stack's and the angle of Y; `error`: how far
    previews were from full answers. Made by `tolerance.preview_build.build`."""

    case: Case
    base: PlacementOutcome
    learned: Kriging
    reduced: ReducedHeat
    error: PreviewError

    @cached_property
    def frame(self) -> PreviewFrame:
        """What the base gives every answer."""
        return PreviewFrame.of(self.case)

    @cached_property
    def _unchanged(self) -> PlacementOutcome:
        return self.outcome(self.case)

    @cached_property
    def _shapes(self) -> NDArray[np.float32]:
        """Shapes of all nodes, (n_nodes, r)."""
        return self.reduced.shapes.reshape(-1, self.reduced.rates.size)

    def preview(self, what_if: WhatIf) -> WhatIfAnswer:
        """The quick answer. Raises PreviewRangeError where a full answer is needed, PlacementError for an
        impossible placement, KeyError for a panel that is not there."""
        changed = what_if.applied_to(self.case)
        outcome = self.outcome(changed)
        bound = self.error.at(Nearby(self.case).point(changed), outcome)
        return WhatIfAnswer(what_if.words(self.case), outcome, self._unchanged, bound)

    def outcome(self, changed: Case) -> PlacementOutcome:
        """What a changed case does, by the preview. Raises as `preview`."""
        point = Nearby(self.case).point(changed)
        grid = fit(self.frame.layout, changed.region, changed.placed)
        heating, admittance = self._field(point, grid)
        minute, states = self._temperatures(changed, grid, self.frame.source(grid, heating))
        fat, skin = grid.cells_of("fat"), grid.cells_of("skin")
        warm = self._at_nodes(states, slice(fat.start, skin.stop + 1))
        mean = (self.reduced.zone_start_c + states @ self.reduced.zone_shapes.T)[:, self.frame.fat_zones]
        within = fat.stop - fat.start
        return PlacementOutcome(
            minute=minute,
            skin_c=warm[..., within:].max(axis=(1, 2, 3)),
            fat_c=warm[..., : within + 1].max(axis=(1, 2, 3)),
            fat_mean_c=mean.mean(axis=1),
            evenness=evenness_under(grid, heating[:, :, fat]).ratio,
            admittance_s=admittance,
            tuning_percent=expected_tuning(admittance).percent,
            minutes_to_band=band_reached(changed, minute, mean.mean(axis=1)),
            where=hottest_skin(changed, grid, warm[-1, :, :, -1]),
        )

    def _field(self, point: Floats, grid: Grid) -> tuple[Floats, complex]:
        """Heating per watt absorbed in the cells of the body (1/m³), and the admittance."""
        values = self.learned.at(point)
        shape = (grid.shape[0] - 1, grid.shape[1], grid.skin_node)
        stack = Stack.of(grid, clearance_of(grid), self.frame.nearest)
        heating = np.exp(values[:-2].reshape(shape) + stack.log_heating[:, :, None])
        heating /= float(np.sum(heating * grid.volume[:, :, : grid.skin_node]))
        size, angle = np.exp(values[-2] + stack.log_admittance), values[-1]
        return heating, complex(size * np.cos(angle), size * np.sin(angle))

    def _temperatures(self, changed: Case, grid: Grid, source: Floats) -> tuple[Floats, Floats]:
        """Minutes, and coordinates of the reduced model at each, (nt, r)."""
        model = self._under(source, exchange_of(changed, grid))
        absorbed, times = looked_at(changed, 0.0)
        state = model.start(model.parameters())
        rows = [state.coordinates[0]]
        breaks = sorted({*times, *(b for b in absorbed.breaks() if b < times[-1])})
        for begin, end in pairwise(breaks):
            state = model.advance(state, absorbed.at(begin), end - begin)
            if end in times:
                rows.append(state.coordinates[0])
        return times / 60.0, np.stack(rows)

    def _under(self, source: Floats, exchange: SkinExchange) -> ReducedHeat:
        """The base's reduced model under another source and another exchange; evaporation beyond the base's
        is linear about warm skin."""
        base, model = self.frame.exchange, self.reduced
        dry, wet = (exchange.dry - base.dry).ravel(), (exchange.evaporation - base.evaporation).ravel()
        rise = float(saturation_kpa(WARM_C + 0.5) - saturation_kpa(WARM_C - 0.5))
        excess = float(saturation_kpa(WARM_C)) - base.vapour_kpa
        start = model.start_c[:, :, -1].ravel()
        skin = model.shapes[:, :, -1].reshape(start.size, -1).astype(np.float64)
        slope = (dry + rise * wet) * self.frame.area
        flux = (dry * (start - base.air_c) + wet * (excess + rise * (start - WARM_C))) * self.frame.area
        at = len(model.layers)
        operators, constants = model.operators.copy(), model.constants.copy()
        operators[at] += skin.T @ (slope[:, None] * skin)
        constants[at] -= skin.T @ flux
        share = self._shapes.T @ source.ravel().astype(np.float32)
        return replace(
            model,
            sources=share[None].astype(np.float64),
            operators=operators,
            constants=constants,
        )

    def _at_nodes(self, states: Floats, where: slice) -> Floats:
        """Temperatures (nt, nk, nj, n_where) at some of the radial nodes, °C."""
        start = self.reduced.start_c[:, :, where]
        shapes = self.reduced.shapes[:, :, where].reshape(-1, states.shape[1])
        rise: Any = states.astype(np.float32) @ shapes.T
        return np.asarray(start + rise.reshape(-1, *start.shape), dtype=np.float64)

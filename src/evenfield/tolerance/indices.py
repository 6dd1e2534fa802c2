"""Which unknown drives which result: variance-based indices, and the answer in words.

First-order index: share of a result's variance that goes if the unknown were known; total index: share that
stays if all others were known (I. M. Sobol', *Math. Comput. Simul.* 55:271, 2001; A. Saltelli et al.,
*Comput. Phys. Commun.* 181:259, 2010). SALib samples and estimates. An ensemble's indices are those of a
quadratic function fitted to its members; the share of the variance that the function explains of members left
out of the fit, less what the emulator itself adds to evenness, is given beside them.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from evenfield.tolerance.ensemble import Ensemble
from evenfield.tolerance.parallel import one_thread
from evenfield.tolerance.regression import quadratic_fit
from evenfield.tolerance.spread import Spread

Floats = NDArray[np.float64]

SAMPLES = 1024
EXPLAINED_LEAST = 0.8
"""Below this share of explained variance no driver is named."""
FAMILIES: Mapping[str, str] = {
    "fat_kind": "which published fat",
    "dielectric": "electrical values of tissue",
    "flow": "blood flow",
    "exchange": "cooling of the skin",
    "core": "temperature of the blood",
    "fat_thickness": "measuring the body",
    "girth": "measuring the body",
    "gap": "placing by hand",
    "tilt_across": "placing by hand",
    "tilt_along": "placing by hand",
    "absorbed_fraction": "absorbed share of the set power",
}


@dataclass(frozen=True)
class Indices:
    """Of one result: `first` and `total` (n,) by name in `names`; `families`: the total index of families of
    unknowns; `explained`: share of variance the fitted function explains."""

    names: tuple[str, ...]
    first: Floats
    total: Floats
    families: dict[str, float]
    explained: float

    def ranked(self) -> list[tuple[str, float, float]]:
        """Name, first and total index, the largest total first."""
        order = np.argsort(-self.total, kind="stable")
        return [(self.names[n], float(self.first[n]), float(self.total[n])) for n in order]


def sobol_indices(
    names: Sequence[str],
    function: Callable[[Floats], Floats],
    *,
    groups: Sequence[str] | None = None,
    samples: int = SAMPLES,
    seed: int = 0,
) -> tuple[tuple[str, ...], list[dict[str, Floats]]]:
    """Indices of a function of independent inputs, each given by its cumulative probability.

    `function`: rows (n, d) of numbers between 0 and 1 to outputs (n, n_out). `groups`: a group's name for
    each input; inputs of a group count together. `samples`: a power of two. Returns the names (groups if
    given) and, per output, S1 and ST. A constant output has all 0.
    """
    from SALib.analyze import sobol as analysis  # type: ignore[import-untyped]
    from SALib.sample import sobol as sampling  # type: ignore[import-untyped]

    problem = {"num_vars": len(names), "names": list(names), "bounds": [[0.0, 1.0]] * len(names)}
    if groups is not None:
        problem["groups"] = list(groups)
    shares = sampling.sample(problem, samples, calc_second_order=False, seed=seed)
    outputs = function(np.asarray(shares, dtype=np.float64))
    named = tuple(dict.fromkeys(groups)) if groups is not None else tuple(names)
    found = []
    for column in outputs.T:
        if np.ptp(column) <= 1e-12 * max(1.0, float(np.max(np.abs(column)))):
            found.append({key: np.zeros(len(named)) for key in ("S1", "ST")})
            continue
        # half-widths from resampling are not used; fewer than two resamples would warn
        answer = analysis.analyze(problem, column, calc_second_order=False, num_resamples=2, seed=seed)
        found.append({key: np.asarray(answer[key]) for key in ("S1", "ST")})
    return named, found


def ensemble_indices(e: Ensemble, *, samples: int = SAMPLES) -> dict[str, Indices]:
    """Indices of every result of an ensemble that differs between members, by its name. "Never" counts as
    the end of the visit."""
    results = {
        k: np.minimum(v, e.minutes[-1]) if k == "minutes_to_band" else v for k, v in e.results().items()
    }
    results = {k: v for k, v in results.items() if np.ptp(v) > 1e-9 * (1.0 + np.max(np.abs(v)))}
    if not results or not e.spread.unknowns:
        return {}
    with one_thread():
        found = _indices(e.spread, e.scores, results, samples, e.seed)
    if e.error is not None and "evenness" in found:
        one = found["evenness"]
        noise = e.error.evenness[0] ** 2 / float(results["evenness"].var())
        found["evenness"] = replace(one, explained=max(one.explained - noise, 0.0))
    return found


def _indices(
    spread: Spread, scores: Floats, results: Mapping[str, Floats], samples: int, seed: int
) -> dict[str, Indices]:
    Y = np.stack(list(results.values()), axis=1)
    fit = quadratic_fit(scores, Y, Y.mean(axis=0))
    explained = 1.0 - fit.left_out**2 / Y.var(axis=0)

    def function(shares: Floats) -> Floats:
        return fit.at(spread.scores_at(shares))

    families = [FAMILIES[key.split(".")[0]] for key in spread.keys]
    names, single = sobol_indices(spread.keys, function, samples=samples, seed=seed)
    together, grouped = sobol_indices(spread.keys, function, groups=families, samples=samples, seed=seed)
    words = {u.key: u.words for u in spread.unknowns}
    out = {}
    for n, name in enumerate(results):
        one = single[n]
        out[name] = Indices(
            names=tuple(words[k] for k in names),
            first=np.clip(one["S1"], 0.0, 1.0),
            total=np.clip(one["ST"], 0.0, 1.0),
            families=dict(zip(together, np.clip(grouped[n]["ST"], 0.0, 1.0).tolist(), strict=True)),
            explained=float(np.clip(explained[n], 0.0, 1.0)),
        )
    return out


RESULT_WORDS: Mapping[str, str] = {
    "hottest_skin_c": "the hottest skin",
    "hottest_fat_c": "the hottest fat",
    "mean_fat_at_end_c": "the mean of fat at the end",
    "minutes_to_band": "the minutes until fat is in the band",
    "minutes_in_band": "the minutes in the band",
    "evenness": "evenness",
}


def in_words(indices: Mapping[str, Indices]) -> list[str]:
    """What matters most for each result, a sentence each."""
    lines = []
    for name, words in RESULT_WORDS.items():
        if name not in indices:
            continue
        one = indices[name]
        if one.explained < EXPLAINED_LEAST:
            lines.append(
                f"For {words} no single driver is named: the fitted function explains only "
                f"{100 * one.explained:.0f} % of its variance."
            )
            continue
        first, second, third = one.ranked()[:3]
        lines.append(
            f"For this client, {first[0]} matters most for {words} ({100 * first[2]:.0f} % of its variance), "
            f"then {second[0]} ({100 * second[2]:.0f} %) and {third[0]} ({100 * third[2]:.0f} %)."
        )
    return lines

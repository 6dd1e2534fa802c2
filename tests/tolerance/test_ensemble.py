"""The ensemble: its limits, its error against members computed in full, the same whoever computes."""

import json
import signal
import time
from collections.abc import Iterator
from dataclasses import replace
from multiprocessing import active_children
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from evenfield.case import Case
from evenfield.cli.uncertainty import print_uncertainty
from evenfield.forecast import Forecast, expected_tuning, forecast
from evenfield.forecast.accuracy import chosen_layout
from evenfield.forecast.engine import output_times
from evenfield.grid.layout import Layout
from evenfield.tolerance.check import full_member
from evenfield.tolerance.ensemble import Ensemble, ensemble, minutes_to_band, moved_extra, quantiles
from evenfield.tolerance.indices import EXPLAINED_LEAST, ensemble_indices, in_words
from evenfield.tolerance.member import solved_member
from evenfield.tolerance.minutes_power import minutes_power
from evenfield.tolerance.parallel import ClusterError, Runner, runner
from evenfield.tolerance.spread import Spread
from evenfield.tolerance.uncertainty_json import minutes_power_to_json, uncertainty_to_json

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def layout(limb: Case) -> Layout:
    return chosen_layout(limb.region, limb.placed).coarser()


@pytest.fixture(scope="module")
def small(limb: Case, here: Runner) -> Ensemble:
    return ensemble(limb, here, members=64, design=24, training=4, checks=4, seed=2)


def test_no_spread_is_the_deterministic_answer(limb: Case, layout: Layout, here: Runner) -> None:
    """Every member is the full model's answer on the same grid, within the reduced model's error."""
    e = ensemble(limb, here, spread=Spread(()), members=5, design=8, checks=0)
    full = full_member(limb, layout, Spread(()), limb.session.power, output_times(limb), np.zeros(0))
    for member in range(5):
        assert e.visit.zone_mean_c[member] == pytest.approx(full.zone_mean_c, abs=0.05)
        assert e.visit.hottest_c[member] == pytest.approx(full.hottest_c, abs=0.05)
    assert np.ptp(e.visit.hottest_c, axis=0).max() == 0.0
    assert e.results()["evenness"] == pytest.approx(full.evenness, abs=1e-6)
    assert ensemble_indices(e) == {}


@pytest.fixture(scope="module")
def told(limb: Case) -> Forecast:
    return forecast(limb, with_band=False)


def test_no_spread_says_what_the_forecast_says(limb: Case, told: Forecast, here: Runner) -> None:
    """In every result, on the map at the plan's power too."""
    e = ensemble(limb, here, spread=Spread(()), members=3, design=8, checks=0, anchor=told)
    results = {key: value[0] for key, value in e.results().items()}
    assert results["hottest_skin_c"] == pytest.approx(told.peak_c["skin"], abs=1e-6)
    assert results["hottest_fat_c"] == pytest.approx(told.peak_c["fat"], abs=1e-6)
    assert results["evenness"] == pytest.approx(told.evenness.ratio)
    load = complex(results["conductance_s"], results["susceptance_s"])
    assert load == pytest.approx(told.field.admittance_s)
    assert results["tuning_percent"] == pytest.approx(told.tuning.percent)
    for layer, share in told.field.share.items():
        assert results[f"share_{layer}"] == pytest.approx(share)
    levels = minutes_power(e, here, skin_limit_c=39.0, members=3)
    for rows, series in (
        (levels.skin_c, told.peak_series_c["skin"]),
        (levels.fat_c, e.mean_c("fat")[0]),
    ):
        assert rows[1, 4, 0] == pytest.approx(series[0], abs=0.01)
        assert rows[1, 4, e.power_end] == pytest.approx(series[e.power_end], abs=0.01)
        assert rows[1, 4, : e.power_end] == pytest.approx(series[: e.power_end], abs=0.1)


def test_shares_still_add_up_when_moved(small: Ensemble) -> None:
    by = np.array([[0.5, 1.1e-3, 9e-3, 0.1, 0.6, 0.3]])
    away = np.array([[0.4, 1.0e-3, 8e-3, 0.2, 0.5, 0.3]])
    extra = np.array([[0.3, 2e-3, 4e-3, 0.25, 0.35, 0.4]])
    moved = moved_extra(extra, by, away)
    assert moved[0, 3:].sum() == pytest.approx(1.0)
    assert moved[0, :3] == pytest.approx([0.375, 2.2e-3, 4.5e-3])


def test_what_the_emulator_adds_to_evenness_is_not_explained(small: Ensemble) -> None:
    """With an error as large as the spread no driver may be named."""
    assert small.error is not None
    spread = float(small.results()["evenness"].std())
    for error, least in ((0.0, 0.5), (spread, 0.0)):
        off = replace(small, error=replace(small.error, evenness=(error, error)))
        explained = ensemble_indices(off, samples=64)["evenness"].explained
        assert explained >= least
        assert (explained < EXPLAINED_LEAST) or error == 0.0


def test_error_is_measured_and_small_beside_the_spread(small: Ensemble) -> None:
    assert small.error is not None
    low, _, high = quantiles(small.results()["hottest_fat_c"])
    assert small.error.members == 4
    assert 0.0 < small.error.hottest_fat_k[0] < 0.1 * (high - low)
    assert small.error.zone_mean_k[1] < 0.6


def test_symmetric_limb_has_symmetric_results(small: Ensemble) -> None:
    """Round limb, facing panels: what both panels get differs only by chance of the members."""
    inner, outer = (np.median(small.mean_c("fat", name)[:, -1]) for name in ("inner", "outer"))
    assert inner == pytest.approx(outer, abs=0.25)


def test_same_seed_same_numbers_to_the_last_digit(limb: Case, here: Runner) -> None:
    """On one process, on two, and on a Dask cluster of this machine."""
    from distributed import LocalCluster

    def tiny(work: Runner, seed: int = 2) -> Ensemble:
        return ensemble(limb, work, members=40, design=6, training=1, checks=2, seed=seed)

    one = tiny(here)
    with runner(2) as work:
        two = tiny(work)
    with (
        LocalCluster(  # type: ignore[no-untyped-call]
            n_workers=2, threads_per_worker=1, host="127.0.0.1", dashboard_address=None
        ) as cluster,
        runner(dask=cluster.scheduler_address) as work,
    ):
        assert work.workers == 2
        far = tiny(work)
    for other in (two, far):
        assert np.array_equal(other.scores, one.scores)
        assert np.array_equal(other.visit.zone_mean_c, one.visit.zone_mean_c)
        assert np.array_equal(other.visit.hottest_c, one.visit.hottest_c)
        assert other.error == one.error
    assert not np.array_equal(tiny(here, seed=3).visit.hottest_c, one.visit.hottest_c)


def test_drivers_are_told_in_words(small: Ensemble) -> None:
    indices = ensemble_indices(small, samples=256)
    lines = in_words(indices)
    assert any("absorbed share of the set power matters most for the hottest fat" in line for line in lines)
    assert set(indices["hottest_fat_c"].families) >= {"blood flow", "placing by hand"}


def test_json_holds_three_numbers_for_every_result(small: Ensemble) -> None:
    document = uncertainty_to_json(small, {})
    json.dumps(document, allow_nan=False)
    for name, three in document["results"].items():
        shown = [v for v in three.values() if v is not None]
        assert list(three) == ["5", "50", "95"], name
        assert shown == sorted(shown)
    assert len(document["zones"]) == 36
    load = complex(*(small.results()[key][0] for key in ("conductance_s", "susceptance_s")))
    assert small.results()["tuning_percent"][0] == expected_tuning(load).percent
    assert 0.0 < three_of(document, "tuning_percent")[0] < three_of(document, "tuning_percent")[2] <= 100.0
    assert len(document["peak_series_c"]["skin"]["95"]) == small.minutes.size


def three_of(document: dict[str, Any], name: str) -> list[float]:
    return list(document["results"][name].values())


def test_map_of_minutes_and_power(small: Ensemble, here: Runner) -> None:
    """At the planned constant power it is the ensemble itself (on its own grid); more power, hotter skin and
    fat; and the document holds a row for every power."""
    levels = minutes_power(small, here, skin_limit_c=39.0, members=16)
    planned = small.emulator.run(small.scores[:16], small.case.session.power, small.visit.time_s)
    assert levels.power_w[4] == pytest.approx(28.0)
    count = small.minutes.size - 1  # at the end of power the plan's own curve is already off
    expected = quantiles(planned.hottest_c[:, :count, 0])
    assert levels.skin_c[:, 4, :count] == pytest.approx(expected, abs=1e-9)
    for rows in (levels.skin_c, levels.fat_c):
        assert np.all(np.diff(rows[:, :, 1:], axis=1) > 0.0)
    document = minutes_power_to_json(levels)
    assert document["power"] == "set"
    assert np.shape(document["mean_fat_c"]["95"]) == (levels.power_w.size, levels.minutes.size)


def test_larger_gap_never_heats_skin_more_beside_fat(limb: Case, layout: Layout) -> None:
    """Common practice, no source: close panels heat skin. Of heating, at the same absorbed power, both gaps
    wider; temperature also feels that a wider gap of still air cools less (docs/uncertainty.md)."""
    beside = []
    for gap in (-0.006, -0.003, 0.0, 0.004, 0.010):
        field = solved_member(limb, layout, {"gap.inner": gap, "gap.outer": gap}).field
        skin, fat = (field.sar[:, :, field.grid.cells_of(t)] for t in ("skin", "fat"))
        volume = field.grid.volume[:, :, field.grid.cells_of("fat")]
        beside.append(float(skin.max() / np.average(fat, weights=volume)))
    assert np.all(np.diff(beside) < 0.0)


def test_minutes_to_band_by_hand() -> None:
    minutes = np.array([0.0, 10.0, 20.0])
    series = np.array([[30.0, 38.0, 42.0], [30.0, 31.0, 32.0], [41.0, 42.0, 42.0]])
    assert minutes_to_band(minutes, series, 40.0).tolist() == [15.0, np.inf, 0.0]


def test_a_cluster_that_does_not_answer_is_told_in_one_sentence() -> None:
    def try_it() -> Iterator[None]:
        with runner(dask="tcp://127.0.0.1:1"):
            yield

    with pytest.raises(ClusterError, match="no Dask scheduler answers"):
        next(try_it())
    with pytest.raises(ValueError, match="at least 1"):
        next(iter([runner(0).__enter__()]))


def test_cancelled_by_progress(limb: Case, here: Runner) -> None:
    class Stop(Exception):  # noqa: N818
        pass

    def stop(step: str, share: float) -> None:
        if step == "shapes":
            raise Stop

    with pytest.raises(Stop):
        ensemble(limb, here, members=4, design=4, training=2, progress=stop)


def _hears_ctrl_c(_: int) -> bool:
    return signal.SIGINT not in signal.pthread_sigmask(signal.SIG_BLOCK, ())


def test_ctrl_c_is_for_the_process_that_leads() -> None:
    with runner(2) as work:
        assert not any(work.map(_hears_ctrl_c, range(4)))
    assert _hears_ctrl_c(0)


def _writes_late(path: Path | None) -> None:
    if path is None:
        raise KeyboardInterrupt
    time.sleep(8.0)
    path.write_text("finished", encoding="utf-8")


def test_what_is_cancelled_is_not_computed_to_its_end(tmp_path: Path) -> None:
    """Tasks that write a file when they end; the block is left while they run."""
    with pytest.raises(KeyboardInterrupt), runner(2) as work:
        list(work.map(_writes_late, [None, tmp_path / "one", tmp_path / "two"]))
    assert active_children() == []
    assert list(tmp_path.iterdir()) == []


def test_the_summary_says_whose_limit_it_is(small: Ensemble, capsys: pytest.CaptureFixture[str]) -> None:
    print_uncertainty(small, {}, 38.5, [])
    told = " ".join(capsys.readouterr().out.split())
    above = 100 * np.mean(small.results()["hottest_skin_c"] > 38.5)
    assert f"Skin above 38.5 °C at some time: {above:.0f} % of the members." in told
    assert "The limit is the clinic's to set: --skin-limit." in told


def test_the_summary_says_what_is_assumed_and_varied(
    small: Ensemble, capsys: pytest.CaptureFixture[str]
) -> None:
    print_uncertainty(small, {}, 38.5, [])
    told = " ".join(capsys.readouterr().out.split())
    assert "At 15.4 W absorbed: 0.55 of 28 W set, assumed until the device is calibrated" in told
    assert "Fat: average infiltrated." in told
    assert "which published fat: the other kind with a chance of 50 % [A]" in told
    assert "5, 50, 95 %: 0.35, 0.55, 0.75 [A]" in told

"""Drying on the kiln: two regimes under the air that was logged, learned from the trays and the moisture tests, and
of a deep bed from the air that leaves it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from app.judgement.forecasts.air import USUAL_ROOM, Air, KilnAir, air_of
from app.judgement.forecasts.air_off import rates_by_air
from app.judgement.forecasts.air_plan import planned_air
from app.judgement.forecasts.band import Z80, Array
from app.judgement.forecasts.bed import BED, break_moisture_db, kernel_of, model_of
from app.judgement.forecasts.heat import air_of_run
from app.judgement.forecasts.level import Measured, fit_with_level
from app.judgement.forecasts.priors import drying_prior, from_lot
from app.judgement.forecasts.trays import Determined, Tray, determined_on_kiln
from app.judgement.grain.moisture_trays import State
from app.judgement.history.history import History
from app.judgement.history.kiln_runs import AS_LOADED, Run
from app.judgement.programmes.programme import Programme
from app.science.fitting import Posterior, Prior

LEARNED = 3
LOADED = 4
"""Which parameter is the moisture that was loaded."""

EQUILIBRIUM_SD_DB = 0.008
"""Equilibrium moisture is shown as ± 1 point, for published sets for one grain lie that far apart; kilns are hotter
than any of them was measured at, and so less is taken for sure here, from memory."""

LEAST_LOADED_SD_DB = 0.003

PLAN_TELLS_RATE = 0.5
"""What a plan of the kiln leaves of the spread of the rate: its author knew such a kiln. Set on the first set of the
bench of truth."""


@dataclass(frozen=True, eq=False)
class DryingFit:
    """One run on the kiln. end_h: the hour of the last heat off, None while it goes on. rates: by the air off."""

    posterior: Posterior
    air: KilnAir
    start_h: float
    end_h: float | None
    trays: tuple[Tray, ...]
    known: tuple[Determined, ...]
    rates: tuple[Determined, ...]

    @property
    def weighings(self) -> int:
        return len(self.known)

    def is_of(self, pieces: Sequence[Air], prior: Prior, known: Sequence[Determined]) -> bool:
        """Whether it was learned from the very same: then there is nothing to learn again."""
        is_same_air = self.air.pieces == tuple(pieces)
        return is_same_air and self.posterior.prior.is_same(prior) and (*self.known, *self.rates) == tuple(known)

    def band(
        self, hours: Array, tray: int | Array = BED, air: Sequence[Air] | None = None
    ) -> tuple[Array, Array, Array]:
        """Moisture, wet basis, of the bed or of one tray, or of another at each hour; under other air than the logged
        one, where given."""
        posterior = self.posterior
        if air is not None:
            posterior = replace(posterior, model=model_of(air), kernel=kernel_of(air, posterior.parameters))
        mean, sd = posterior.predict(np.stack((hours, np.full(len(hours), math.nan), np.full(len(hours), tray, float))))
        floor = self.floor_db(hours, air)
        central = np.maximum(mean, floor)
        low = np.clip(mean - Z80 * sd, np.maximum(floor - Z80 * EQUILIBRIUM_SD_DB, 0.0), central)
        return _wb(central), _wb(low), _wb(np.maximum(mean + Z80 * sd, central))

    def wettest(self, hours: Array) -> tuple[Array, Array]:
        """The middle of the tray that is wettest, and the upper edge of the one that may be."""
        numbers = [tray.number for tray in self.trays]
        central, _, high = self.band(np.tile(hours, len(numbers)), np.repeat(np.array(numbers), len(hours)))
        middle, edge = (np.max(each.reshape(len(numbers), len(hours)), axis=0) for each in (central, high))
        return middle, edge

    def floor_db(self, hours: Array, air: Sequence[Air] | None = None) -> Array:
        """The driest that the grain can be by these hours: the least equilibrium of the air so far."""
        pieces = air or self.air.pieces
        loaded, more = self.loaded_db, float(self.posterior.parameters[3])
        least = np.minimum.accumulate([max(piece.equilibrium_db + more, 0.0) for piece in pieces])
        place = np.searchsorted([piece.start_h for piece in pieces], hours, side="right") - 1
        return np.where(place < 0, loaded, np.minimum(least[np.maximum(place, 0)], loaded))

    @property
    def is_heat_off(self) -> bool:
        """The heat stopped, and nothing says yet that it is back."""
        return self.air.pieces[-1].is_still

    @property
    def loaded_db(self) -> float:
        return float(self.posterior.parameters[4])

    @property
    def loaded_wb(self) -> tuple[float, float]:
        """The moisture that it was loaded with, and its standard uncertainty: as the green malt was, made surer only by
        what was determined since, and never by how the trays' weights fell."""
        sd = math.sqrt(float(self.posterior.covariance[4, 4]))
        return self.loaded_db / (1.0 + self.loaded_db), sd / (1.0 + self.loaded_db) ** 2

    def first_wb(self, tray: Tray) -> tuple[float, float]:
        """The moisture of a tray's grain at its first weighing, and its standard uncertainty."""
        if not self.dries_by(tray.first_h):
            return tray.loaded_wb or self.loaded_wb
        return self.state(tray.first_h, tray.number)

    def dries_by(self, hour: float) -> bool:
        """No longer as it was loaded."""
        return hour > self.start_h + AS_LOADED.total_seconds() / 3600.0

    def state(self, hour: float, tray: int = BED) -> tuple[float, float]:
        central, low, high = self.band(np.array([hour]), tray)
        return float(central[0]), float(high[0] - low[0]) / (2.0 * Z80)

    def with_air(self, hour: float, temperature_c: float) -> tuple[Air, ...]:
        """The air as it was until an hour, and then of another temperature."""
        before = [piece for piece in self.air.pieces if piece.start_h < hour]
        return (*before, air_of(hour, temperature_c, self.air.water_from))

    def equilibrium_wb(self, air: Sequence[Air] | None = None) -> float:
        """What the grain comes to in the last air, in the end: it will never get drier than this."""
        last = (air or self.air.pieces)[-1]
        end = max(last.equilibrium_db + float(self.posterior.parameters[3]), 0.0)
        return end / (1.0 + end)

    def break_wb(self, hour: float) -> float:
        """The moisture at which the kernels begin to give less than the air of an hour could carry."""
        turn = break_moisture_db(self.air.at(hour), self.posterior.parameters)
        return turn / (1.0 + turn)

    @property
    def wettest_tray(self) -> int:
        """The tray that is wettest at the last weighing: dry enough is when that one is. The bed where there is one."""
        if len(self.trays) < 2:
            return BED
        last_h = max(float(self.posterior.x[0].max()) if self.posterior.n else self.start_h, self.start_h)
        at_last = [float(self.band(np.array([last_h]), tray.number)[0][0]) for tray in self.trays]
        return self.trays[int(np.argmax(at_last))].number


def fit_drying(
    history: History,
    run: Run,
    loaded_wb: tuple[float, float],
    green: State,
    warm: DryingFit | None = None,
) -> DryingFit | None:
    """loaded_wb: the moisture that the grain had when the heat came on, and its standard uncertainty; green: that of
    the grain before any heat. None for a roast, which is another law.
    """
    programme = history.programme_at(run.stage.starts_at)
    if programme is not None and programme.is_roast:
        return None
    air = air_of_run(history, run)
    dry_share = 1.0 - loaded_wb[0]
    loaded_sd = max(loaded_wb[1] / dry_share**2, LEAST_LOADED_SD_DB)
    own = Prior.independent(equilibrium=(0.0, EQUILIBRIUM_SD_DB), loaded=(loaded_wb[0] / dry_share, loaded_sd))
    prior = from_lot(programme_prior(programme), history.prior, "drying").and_also(own)
    trays, determined = determined_on_kiln(history, run.stage, run.heat_at, green)
    rates = rates_by_air(history, run, air)
    told = (*determined, *rates)
    if warm is not None and warm.is_of(air.pieces, prior, told):
        posterior = warm.posterior
    else:
        posterior = _fit_twice(air.pieces, prior, told, warm.posterior if warm else None)
    end_h = None if run.stage.ends_at is None else history.hour(run.stage.ends_at)
    return DryingFit(posterior, air, history.hour(run.heat_at), end_h, trays, tuple(determined), rates)


def _fit_twice(
    pieces: Sequence[Air], prior: Prior, determined: Sequence[Determined], warm: Posterior | None = None
) -> Posterior:
    """How far a bed strays depends on the water it still holds, which is known only once it was fitted."""
    shape = _measured([each for each in determined if not each.is_absolute])
    told = _measured([each for each in determined if each.is_absolute])
    model, begin = model_of(pieces), prior.mean if warm is None else warm.parameters
    first = fit_with_level(model, prior, kernel_of(pieces, begin), shape, told, LOADED, warm)
    if not determined:
        return first
    return fit_with_level(model, prior, kernel_of(pieces, first.parameters), shape, told, LOADED, first)


def _measured(determined: Sequence[Determined]) -> Measured:
    rows = [(each.hour, each.start_h, float(each.tray), each.value, each.sd) for each in determined]
    columns = np.array(rows, dtype=np.float64).T if rows else np.zeros((5, 0))
    return Measured(columns[:3], columns[3], columns[4])


@lru_cache(maxsize=64)
def programme_prior(programme: Programme | None) -> Prior:
    """The general prior about the curve that leads through the programme's plan: its rate as sure as a plan tells it,
    the rest as wide as it was.
    """
    prior = drying_prior()
    planned = planned_air(programme)
    if programme is None or not planned:
        return prior
    loaded_h = next(stage.start_h for stage in programme.planned_stages() if stage.stage == "kilning")
    curve = [(hour - loaded_h, value / (1.0 - value)) for hour, value in programme.planned_curve("moisture_wb")]
    points, loaded = [point for point in curve if point[0] > 0.0], [value for hour, value in curve if hour <= 0.0]
    if not points or not loaded:
        return prior
    own = Prior.independent(equilibrium=(0.0, EQUILIBRIUM_SD_DB), loaded=(loaded[-1], LEAST_LOADED_SD_DB))
    air = tuple(air_of(each.hour, each.temperature_c, USUAL_ROOM) for each in planned)
    points_told = [Determined(hour, math.nan, BED, value, 0.05 * value + 0.005, False) for hour, value in points]
    shares = np.array([PLAN_TELLS_RATE, 1.0, 1.0])
    planned_by = _fit_twice(air, prior.and_also(own), points_told).parameters[:LEARNED]
    return Prior(prior.names, planned_by, prior.covariance * np.outer(shares, shares))


def _wb(moisture_db: Array) -> Array:
    return np.asarray(moisture_db / (1.0 + moisture_db))

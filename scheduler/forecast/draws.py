"""Random months ahead: what a strain's lots could yield, many times over.

In one draw, every tank has its good and bad months, every strain a true growth and loss rate around what is known of them, and every
lot a growth of its own; given these, frags grow and die each for itself. So a frag of lot l is of class k by week w with probability
F(w) S(w):

    F(w) = Phi((u_l - s^2 / 2 + ln(grown_mm(w) / gap_mm)) / s), from the gate on, s the spread of log growth between frags,
    S(w) = exp(-v sum over weeks of hazard x shock of the tank in that month),

u_l and v being the draw's log growth of the lot and its losses as a ratio. All factors have mean 1. Times to a class are thus log-normal.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from scheduler.farm.farm import Farm
from scheduler.forecast.learn import GROWTH, LOSS_TRAITS, PIECES, Learned
from scheduler.forecast.parcels import STAYS, Calendar, Floats, Ints, StrainLots
from scheduler.forecast.spreads import log_spread
from scheduler.forecast.standing import LotGrowth

_NO_SPREAD = 1e-6
_WHOLE = 1e-5
"""Rounding error of chances held in single precision, as a share of a number of trials."""

ALIKE = 0.25
"""How much of what is not known of strains is the same for all of them: readings, water, hands (farm choice, no published source)."""

Chances = NDArray[np.float32]
"""Chances and factors are held in single precision: (draws, lots) tables are large, and seven digits are ample."""


def log_normal(rng: np.random.Generator, spread: float | Floats, size: tuple[int, ...]) -> Floats:
    """Log-normal factors of mean 1, ``spread`` being the standard deviation of their logarithm."""
    return np.asarray(np.exp(rng.standard_normal(size) * spread - np.square(spread) / 2))


@dataclass(frozen=True)
class Shared:
    """What all strains share in a draw.

    ``shock`` (draws, tanks, months + 1): losses of a tank in a month as a factor; the first month is the time before week 1.
    ``growth``, ``losses``, ``pieces`` (draws, 1): standard normal, the part of what is not known that is the same for every strain.
    """

    shock: Floats
    growth: Floats
    losses: Floats
    pieces: Floats

    @classmethod
    def draw(cls, rng: np.random.Generator, draws: int, tanks: int, months: int, spread: float) -> Shared:
        """Draw it; ``spread`` is that of the shocks."""
        shock = log_normal(rng, spread, (draws, tanks, months + 1))
        return cls(shock, *(rng.standard_normal((draws, 1)) for _ in range(3)))

    def unsure(self, rng: np.random.Generator, common: Floats, spread: float) -> Floats:
        """Logarithm of a factor of mean 1 for one strain (draws, 1), ``ALIKE`` of its variance in common with the others."""
        own = rng.standard_normal(common.shape)
        return np.asarray((np.sqrt(ALIKE) * common + np.sqrt(1 - ALIKE) * own) * spread - spread**2 / 2)


def draw_counts(rng: np.random.Generator, mean: Floats, square: Floats) -> Ints:
    """Counts of independent frags of unlike chances p, given sum p and sum p^2: a binomial of the same mean and variance.

    Exact where the chances are alike; else the closest binomial in the first two moments (Ehm 1991, Stat Probab Lett 11:7-16, from
    memory, bounds the error).
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        alike = mean**2 / np.maximum(square, 1e-300)
        trials = np.where(square > 0, np.minimum(np.ceil(alike * (1 - _WHOLE)), 1e9), 0.0)
        chance = np.where(trials > 0, np.minimum(mean / np.maximum(trials, 1.0), 1.0), 0.0)
    return np.asarray(rng.binomial(trials.astype(np.int64), chance), dtype=np.int64)


@dataclass(frozen=True)
class StrainDraws:
    """What was drawn for a strain, all (draws, classes, months ...).

    ``reaching``: frags newly reaching a class while still on the farm (months); one that has not reached its class by the week of its
    sale stays until it has. ``supply``: graded frags of a class, not bound for an
    order and free to be sold, at the end of each month if all of them were kept for one buyer (months + 1, first: before week 1).
    ``on_hand``: frags of a class by the end of the month that were there when it began, sold in it or not (months). ``after``: those of
    them not sold by its end (months).
    """

    reaching: Ints
    supply: Ints
    on_hand: Ints
    after: Ints


class StrainSampler:
    """Draws for one strain. ``shared``: what all strains of a forecast have in common."""

    def __init__(
        self, farm: Farm, lots: StrainLots, calendar: Calendar, learned: Learned, shared: Shared, rng: np.random.Generator
    ) -> None:
        self.farm, self.lots, self.calendar, self.rng = farm, lots, calendar, rng
        own = [learned.lots.get(lot, LotGrowth(0.0, learned.spreads.lots)) for lot in lots.ids]
        self.frag_spread = np.maximum(learned.spreads.frags * np.array([g.frags for g in own]), _NO_SPREAD)
        self.sold = np.array([g.sold for g in own], dtype=np.int64)
        self.sold_grown = self._grown_when_sold(own)
        shock = shared.shock
        draws, count = shock.shape[0], len(lots.ids)
        self.leaves = np.array([p.leaves for p in lots.parcels], dtype=np.int64)
        self.of_lot = np.array([p.lot for p in lots.parcels], dtype=np.int64)
        self.sold_as = np.array([p.sold_as for p in lots.parcels], dtype=np.int64)
        self.pieces = np.array([p.pieces for p in lots.parcels], dtype=np.float64)
        self.loose = self._held(np.array([not p.to_order for p in lots.parcels], dtype=np.bool_))
        blends = {name: learned.blends[lots.strain, name] for name in (*LOSS_TRAITS, GROWTH, PIECES)}
        strain = shared.unsure(rng, shared.growth, log_spread(blends[GROWTH].spread))
        self.growth = self._growth(own, learned, strain)
        rates = [blends[n] for n in LOSS_TRAITS]
        total = sum(b.blended for b in rates)
        unsure = np.sqrt(sum((b.blended * b.spread) ** 2 for b in rates)) / total if total > 0 else 0.0
        self.losses = np.exp(shared.unsure(rng, shared.losses, log_spread(float(unsure)))).astype(np.float32)
        self.share = np.ones((draws, count), dtype=np.float32)
        new = np.flatnonzero(lots.planned)
        if len(new):
            usual = blends[PIECES].blended * np.exp(shared.unsure(rng, shared.pieces, log_spread(blends[PIECES].spread)))
            self.share[:, new] = usual * log_normal(rng, log_spread(learned.spreads.pieces), (draws, len(new)))
        self.spread_of_all = float(
            np.sqrt(max(learned.spreads.frags, _NO_SPREAD) ** 2 + learned.spreads.lots**2 + blends[GROWTH].spread ** 2)
        )
        month = np.concatenate([[0], calendar.of_week + 1])
        self.month = month
        self.full = np.stack([lots.hazard[:, month == m].sum(axis=1) for m in range(len(calendar.months) + 1)], axis=1)
        at = np.concatenate([[0], calendar.first])
        self.shock = shock[:, lots.tank[:, at], np.arange(len(at))].astype(np.float32).transpose(2, 0, 1)
        """By month (months + 1, draws, lots), so that a month lies together in memory."""
        self.before = np.zeros((len(at) + 1, draws, count), dtype=np.float32)
        np.cumsum(self.shock * self.full.T[:, None, :].astype(np.float32), axis=0, out=self.before[1:])

    def _growth(self, own: Sequence[LotGrowth], learned: Learned, strain: Floats) -> Chances:
        """Log growth of every lot (draws, lots): what is known of it, or that of its strain and a share of luck."""
        mean, spread = np.array([g.mean for g in own]), np.array([g.spread for g in own])
        strain = strain * np.array([lot not in learned.lots for lot in self.lots.ids])
        lots = self.rng.standard_normal((len(strain), len(own)))
        return np.asarray(strain + mean + lots * spread - spread**2 / 2, dtype=np.float32)

    def _grown_when_sold(self, own: Sequence[LotGrowth]) -> Floats:
        """Millimetres each lot should have grown by its last sale: before week 1 its light was always the same (lots,)."""
        age = -self.lots.cut_week
        then = np.array([g.sold_week for g in own]) + age
        return self.lots.grown_mm[:, 0] * np.clip(then, 0, None) / np.maximum(age, 1)

    # ---- chances --------------------------------------------------------------------------------------------------

    def reached(self, k: int, index: Ints, week: Ints) -> Chances:
        """F: share of a lot's frags of class k by a week (draws, n), for n pairs of lot and week."""
        gap, ready = self.lots.gap_mm[k], week >= self.lots.gate[index]
        found = np.zeros((len(self.losses), len(index)), dtype=np.float32)
        if gap <= 0:
            found[:, ready] = 1.0
            return found
        grown = self.lots.grown_mm[index, week]
        some = np.flatnonzero(ready & (grown > 0))
        found[:, some] = self._grown(gap, index[some], grown[some])
        if k == 0:
            part = some[self.sold[index[some]] > 0]
            found[:, part] = self._of_those_left(gap, index[part], found[:, part])
        return found

    def _grown(self, gap: float, index: Ints, grown: Floats) -> Chances:
        """Share of frags that have grown a gap where ``grown`` (n,) > 0 is expected (draws, n)."""
        spread = self.frag_spread[index]
        ahead = (np.log(grown / gap) - spread**2 / 2) / spread
        return np.asarray(ndtr(self.growth[:, index] * (1 / spread).astype(np.float32) + ahead.astype(np.float32)))

    def _of_those_left(self, gap: float, index: Ints, reached: Chances) -> Chances:
        """The share ``reached`` (draws, n) of whole lots as one of the frags left, where part of them was sold since they were measured.

        Those sold had reached the first class by then; the frags that had not are all left, and are a larger share of what is left.
        """
        found = reached.copy()
        grown = self.sold_grown[index]
        some = np.flatnonzero(grown > 0)
        short = 1 - self._grown(gap, index[some], grown[some])
        most = (1 + self.sold[index[some]] / self.lots.pieces[index[some]]).astype(np.float32)
        with np.errstate(divide="ignore"):
            more = np.minimum(1 / short, most)
        found[:, some] = np.clip(1 - more * (1 - reached[:, some]), 0, 1)
        return found

    def alive(self, index: Ints, month: int, part: Floats) -> Chances:
        """S: share alive after a part (n,) of the hazard of a month (0: before week 1), for n lots (draws, n)."""
        met = self.before[month][:, index] + self.shock[month][:, index] * part.astype(np.float32)
        return np.asarray(np.exp(-self.losses * met))

    def brought(self, k: int, index: Ints, week: Ints, until: int) -> Chances:
        """Share of the pieces of sales that are of class k and alive in the week of the sale, or reach it by ``until`` (draws, n)."""
        found = np.zeros((len(self.losses), len(index)), dtype=np.float32)
        for j, (lot, first) in enumerate(zip(index, week, strict=True)):
            one, earlier = np.array([lot]), np.zeros(len(self.losses), dtype=np.float32)
            for at in dict.fromkeys((int(first), max(int(first), until))):
                month = int(self.month[at])
                inside = (self.month == month) & (np.arange(len(self.month)) <= at)
                reached = self.reached(k, one, np.array([at]))[:, 0]
                alive = self.alive(one, month, np.array([self.lots.hazard[lot, inside].sum()]))[:, 0]
                found[:, j] += np.maximum(reached - earlier, 0) * alive
                earlier = reached
        return found

    def _part(self, k: int) -> Floats:
        """Hazard of each month a frag meets before it reaches class k in it (lots, months): the mean over its likely weeks."""
        lots, gap = self.lots, self.lots.gap_mm[k]
        weeks = np.arange(lots.hazard.shape[1])
        ready = weeks >= lots.gate[:, None]
        if gap <= 0:
            by_week = ready.astype(np.float64)
        else:
            with np.errstate(divide="ignore"):
                by_week = np.where(ready, ndtr(np.log(lots.grown_mm / gap) / self.spread_of_all), 0.0)
        new = np.diff(by_week, axis=1, prepend=0.0)
        found = np.empty((len(lots.ids), len(self.calendar.months)))
        for m in range(len(self.calendar.months)):
            inside = self.month == m + 1
            met, weight = lots.hazard[:, inside].cumsum(axis=1), new[:, inside]
            total = weight.sum(axis=1)
            mean = (met * weight).sum(axis=1) / np.where(total > 1e-12, total, 1.0)
            found[:, m] = np.where(total > 1e-12, mean, met[:, -1] / 2)
        return found

    # ---- counts ---------------------------------------------------------------------------------------------------

    def sample(self) -> StrainDraws:
        """Counts of every class and month."""
        found = [self._class(k) for k in range(len(self.lots.classes))]
        return StrainDraws(*(np.stack(tables, axis=1) for tables in zip(*found, strict=True)))

    def _class(self, k: int) -> tuple[Ints, Ints, Ints, Ints]:
        """``reaching``, ``supply``, ``on_hand`` and ``after`` of one class, each (draws, months ...)."""
        cal, lots = self.calendar, self.lots
        part, good = self._part(k), lots.good_share
        now = np.flatnonzero(lots.gate <= 0)
        earlier = np.zeros((len(self.losses), len(lots.ids)), dtype=np.float32)
        earlier[:, now] = self.reached(k, now, np.zeros_like(now))
        supply = [
            self._counted(earlier[:, now] * self.alive(now, 0, self.full[now, 0]), self.loose[now] * lots.free[now, 0], good, now)
        ]
        leaves = np.where((self.sold_as >= k), STAYS, self.leaves)
        reaching, on_hand, after = [], [], []
        for m, (first, last) in enumerate(zip(cal.first, cal.last, strict=True)):
            ready = np.flatnonzero(lots.gate <= last)
            reached = self.reached(k, ready, np.full_like(ready, last))
            new = (reached - earlier[:, ready]) * self.alive(ready, m + 1, part[ready, m])
            reaching.append(self._reaching(k, m, ready, new, earlier, leaves, part[:, m]))
            there = reached * self.alive(ready, m + 1, self.full[ready, m + 1])
            supply.append(self._counted(there, self.loose[ready] * lots.free[ready, last], good, ready))
            overdue = self._held((self.leaves < first) & (leaves == STAYS))[ready]
            held = np.append(self._held(self.leaves >= first)[ready], overdue)
            on_hand.append(self._counted(np.hstack([there, new]), held, 1.0, np.append(ready, ready)))
            after.append(self._counted(there, self._held(self.leaves > last)[ready], 1.0, ready))
            earlier[:, ready] = reached
        return tuple(np.stack(rows, axis=1) for rows in (reaching, supply, on_hand, after))  # type: ignore[return-value]

    def _reaching(self, k: int, m: int, ready: Ints, new: Chances, earlier: Chances, leaves: Ints, part: Floats) -> Ints:
        """Frags newly reaching a class in month m: of pieces there to its end, and of those leaving within it up to that week."""
        first, last = self.calendar.first[m], self.calendar.last[m]
        chance, pieces, index = new, self._held(leaves >= last)[ready], ready
        leaving = np.flatnonzero((leaves >= first) & (leaves < last) & (self.lots.gate[self.of_lot] <= last))
        if len(leaving):
            lot = self.of_lot[leaving]
            more = (self.reached(k, lot, leaves[leaving]) - earlier[:, lot]) * self.alive(lot, m + 1, part[lot])
            chance, pieces, index = np.hstack([chance, more]), np.append(pieces, self.pieces[leaving]), np.append(ready, lot)
        return self._counted(chance, pieces, 1.0, index)

    def _held(self, chosen: NDArray[np.bool_]) -> Floats:
        """Pieces of each lot in the chosen parcels (lots,)."""
        held = np.bincount(self.of_lot[chosen], self.pieces[chosen], minlength=len(self.lots.ids))
        return np.asarray(held, dtype=np.float64)

    def _counted(self, chance: Chances, pieces: Floats, graded: float, index: Ints) -> Ints:
        """Frags that come through with ``chance`` (draws, n) and make grade, among ``pieces`` (n,) of the lots ``index`` (n,)."""
        some = np.flatnonzero(pieces)
        good = np.clip(chance[:, some], 0.0, 1.0) * np.float32(graded)
        weighed, number = good * self.share[:, index[some]], pieces[some].astype(np.float32)
        return draw_counts(self.rng, (weighed @ number).astype(np.float64), ((weighed * good) @ number).astype(np.float64))

    def delivered(self, k: int, index: Ints, weeks: Ints, pieces: Floats, due: int) -> tuple[Ints, Ints]:
        """Graded frags that sales of class k deliver by a week, and those they deliver after it to the end (draws,)."""
        end = int(self.calendar.last[-1])
        timely = np.where(weeks <= due, self.brought(k, index, weeks, min(due, end)), np.float32(0))
        late = self.brought(k, index, weeks, end) - timely
        good = self.lots.good_share
        return self._counted(timely, pieces, good, index), self._counted(late, pieces, good, index)

"""Predictions for many boards of one circuit: all places are solved together, once, whichever of them a board needs."""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import fields, replace
from functools import cached_property
from typing import Any

import numpy as np

from seqsim.diagnosis.conditions import Desk, conditions
from seqsim.diagnosis.foresight import Standing
from seqsim.diagnosis.points import Nearby, Point
from seqsim.diagnosis.predict import Branch, Predictions, Predictor
from seqsim.diagnosis.rank import Diagnosis
from seqsim.diagnosis.spread import model_latents
from seqsim.diagnosis.steep import POINTS
from seqsim.diagnosis.table import Table
from seqsim.network import Turn
from seqsim.network.network import Bools, Floats, Ints
from seqsim.readings import Reading
from seqsim.readings.measurement import Measurement
from seqsim.solver.batch import Latents


class Remembering(Predictor):
    """A predictor of all readings on offer that solves each branch once."""

    def __init__(self, desk: Desk, measurements: Sequence[Measurement]) -> None:
        super().__init__(desk, conditions(measurements), len(measurements))
        self.measurements = tuple(measurements)
        self.column = {_reading(each): k for k, each in enumerate(measurements)}
        self.modes: dict[int, object] = {}
        self.items: dict[Hashable, Predictions] = {}
        self.near: dict[Hashable, tuple[Floats, Bools, bool, Floats]] = {}

    def nominal(self, branches: Sequence[Branch]) -> Predictions:
        """Return the tip volts of every severity of every branch; see `Predictor.nominal`."""
        keys = [(*self.key(branch), branch.severities.tobytes()) for branch in branches]
        first = {key: k for k, key in enumerate(keys) if key not in self.items}
        if first:
            found = super().nominal([branches[k] for k in first.values()])
            for n, key in enumerate(first):
                self.items[key] = found.only(n, n)
        parts = [replace(self.items[key], branch=self.items[key].branch * 0 + k) for k, key in enumerate(keys)]
        return Predictions.together(parts) if parts else super().nominal([])

    def nearby(self, branches: Sequence[Branch], at: Sequence[int], latents: Latents) -> Nearby:
        """Return tips, whether the board oscillates, is solved, and the moves; see `Predictor.nearby`."""
        keys = [
            (*self.key(b), float(b.severities[min(s, len(b.severities) - 1)]))
            for b, s in zip(branches, at, strict=True)
        ]
        first = {key: k for k, key in enumerate(keys) if key not in self.near}
        if first:
            chosen = list(first.values())
            tips, restless, good, moves = super().nearby(
                [branches[k] for k in chosen], [at[k] for k in chosen], latents
            )
            small = moves.astype(np.float32)
            for n, key in enumerate(first):
                self.near[key] = tips[n], restless[n], bool(good[n]), small[n]
        found = [self.near[key] for key in keys]
        if not found:
            return super().nearby([], [], latents)
        tips_, restless_, good_, moves_ = zip(*found, strict=True)
        return Nearby(np.stack(tips_), np.stack(restless_), np.array(good_), np.stack(moves_).astype(np.float64))

    def key(self, branch: Branch) -> tuple[Hashable, ...]:
        """Return what tells a branch from others: its mode, which is kept alive for that, extras and starts."""
        self.modes[id(branch.mode)] = branch.mode
        extra = tuple(sorted((state, repr(patches)) for state, patches in branch.extra.items() if patches))
        starts = tuple(
            (state, start.conducting.tobytes(), start.above.tobytes()) for state, start in sorted(branch.starts.items())
        )
        return id(branch.mode), extra, starts, branch.turns

    def some(self, measurements: Sequence[Measurement]) -> Predictor:
        """Return the predictor of some of the readings; one that is not on offer is solved by itself."""
        known = [k for k, each in enumerate(measurements) if _reading(each) in self.column]
        columns = np.array([self.column[_reading(measurements[k])] for k in known], dtype=np.int64)
        return _Some(self, measurements, np.array(known, dtype=np.int64), columns)


def _reading(each: Measurement) -> Hashable:
    return each.kind.name, each.state, repr(each.patches), each.plus, each.minus, each.part


class _Some(Predictor):
    """Some readings of a predictor that remembers, and others."""

    def __init__(self, whole: Remembering, measurements: Sequence[Measurement], known: Ints, columns: Ints) -> None:
        super().__init__(whole.desk, conditions(measurements), len(measurements))
        self.whole, self.known, self.columns = whole, known, columns
        self.rest = np.setdiff1d(np.arange(len(measurements)), known)
        others = [measurements[k] for k in self.rest]
        self.other = Predictor(whole.desk, conditions(others), len(others))

    def nominal(self, branches: Sequence[Branch]) -> Predictions:
        """Return the tip volts of every severity of every branch; see `Predictor.nominal`."""
        found = at(self.whole.nominal(branches), self.columns)
        if not len(self.rest):
            return replace(
                found, **{name: _at(getattr(found, name), self.known) for name in ("tips", "ohms", "restless")}
            )
        more = self.other.nominal(branches)
        joined = {
            name: self._joined(getattr(found, name), getattr(more, name)) for name in ("tips", "ohms", "restless")
        }
        return replace(found, **joined, good=found.good & more.good)

    def nearby(self, branches: Sequence[Branch], at: Sequence[int], latents: Latents) -> Nearby:
        """Return tips, whether the board oscillates, is solved, and the moves; see `Predictor.nearby`.

        Branches with latents turned to where one board has them are not kept.
        """
        many, severities = list(branches), list(at)
        turned = np.array([self._own(branch.turns) for branch in many], dtype=np.bool_)
        if not turned.any():
            return self._kept(branches, at, latents)
        own = super().nearby(
            [many[k] for k in np.flatnonzero(turned)], [severities[k] for k in np.flatnonzero(turned)], latents
        )
        if turned.all():
            return own
        rest = self._kept(
            [many[k] for k in np.flatnonzero(~turned)], [severities[k] for k in np.flatnonzero(~turned)], latents
        )
        order = np.argsort(np.concatenate([np.flatnonzero(turned), np.flatnonzero(~turned)]))
        a, b, c, d = (np.concatenate([one, two])[order] for one, two in zip(own, rest, strict=True))
        return Nearby(a, b, c, d)

    def _kept(self, branches: Sequence[Branch], at: Sequence[int], latents: Latents) -> Nearby:
        tips, restless, good, moves = self.whole.nearby(branches, at, latents)
        mine: list[Any] = [part[:, self.columns] for part in (tips, restless, moves)]
        if not len(self.rest):
            return Nearby(_at(mine[0], self.known), _at(mine[1], self.known), good, _at(mine[2], self.known))
        more = self.other.nearby(branches, at, latents)
        rest = (more.tips, more.restless, more.moves)
        a, b, c = (self._joined(one, two) for one, two in zip(mine, rest, strict=True))
        return Nearby(a, b, good & more.good, c)

    def _own(self, turns: Sequence[Turn]) -> bool:
        """Tell whether latents are turned to where one board has them, and not to a point that all boards try."""
        if len(turns) != 1:
            return bool(turns)
        knob = self.desk.network.knobs[turns[0].owner, turns[0].knob]
        value = float(turns[0].value)
        deviations = (math.log(value) if knob.neutral else value) / knob.spread
        return not np.isclose(deviations, POINTS, rtol=0, atol=1e-9).any()

    def _joined(self, known: Any, rest: Any) -> Any:
        both = np.zeros((known.shape[0], self.readings, *known.shape[2:]), dtype=known.dtype)
        both[:, self.known], both[:, self.rest] = known, rest
        return both


def _at(known: Any, places: Ints) -> Any:
    both = np.zeros_like(known)
    both[:, places] = known
    return both


def at(predictions: Predictions, readings: Ints) -> Predictions:
    """Return the predictions of some readings, in this order."""
    return replace(
        predictions, tips=predictions.tips[:, readings], ohms=predictions.ohms[:, readings],
        restless=predictions.restless[:, readings],
    )  # fmt: skip


class Universe:
    """All readings on offer on one circuit, and what every hypothesis shows there, worked out as boards ask for it."""

    def __init__(self, desk: Desk, measurements: Sequence[Measurement], table: Callable[..., Table]) -> None:
        self.desk = desk
        self.table = table(desk, measurements)
        network, _, _ = model_latents(desk.network)
        self.nominal = Remembering(desk, measurements)
        self.sensitive = Remembering(replace(desk, network=network), measurements)
        self.between: dict[tuple[int, float], Predictions] = {}

    def part(self, measurements: Sequence[Measurement]) -> Table | None:
        """Return the table of some readings, in this order; None where one is not on offer."""
        keys = [_reading(each) for each in measurements]
        if any(key not in self.nominal.column for key in keys):
            return None
        return _Part.of_some(self, measurements, np.array([self.nominal.column[key] for key in keys]))

    def standing(self, found: Diagnosis, readings: Sequence[Reading]) -> Standing:
        """Return the standing after readings, whose advice is quick."""
        return self.kept(Standing.of(found, readings))

    def kept(self, plain: Standing) -> Standing:
        """Return a standing whose advice is quick."""
        return KeptStanding(**{each.name: getattr(plain, each.name) for each in fields(plain)}, universe=self)


class KeptStanding(Standing):
    """A standing whose predictions are kept for the next board."""

    universe: Universe

    def __init__(self, universe: Universe, **given: object) -> None:
        super().__init__(**given)  # type: ignore[arg-type]
        object.__setattr__(self, "universe", universe)

    def predictor(self, measurements: Sequence[Measurement]) -> Predictor:
        """Return what predicts readings."""
        return self.universe.nominal.some(measurements)

    def sensitive(self, measurements: Sequence[Measurement]) -> Predictor:
        """Return what predicts readings and how they move."""
        return self.universe.sensitive.some(measurements)


class _Part(Table):
    """Some readings of a whole table; what is worked out for one board is there for the next."""

    universe: Universe
    columns: Ints
    measurements: Sequence[Measurement]

    @classmethod
    def of_some(cls, universe: Universe, measurements: Sequence[Measurement], columns: Ints) -> _Part:
        whole = universe.table
        predictor = Predictor(whole.desk, conditions(measurements), len(measurements))
        given = {each.name: getattr(whole, each.name) for each in fields(Table) if not each.name.startswith("_")}
        given |= {"predictor": predictor, "limits": whole.limits[columns], "coarse": at(whole.coarse, columns)}
        made = cls(**given)
        made.universe, made.columns, made.measurements = universe, columns, measurements
        return made

    def fine(self, wanted: Ints) -> Predictions:
        """Return the predictions of some branches at fine severities."""
        return at(self.universe.table.fine(wanted), self.columns)

    def closer(
        self, predictions: Predictions, branches: Sequence[Branch], gaps: Mapping[int, Floats]
    ) -> tuple[Predictions, list[Branch]]:
        """Return predictions and branches with further severities."""
        kept = self.universe.between
        places = [(k, quantile) for k, where in gaps.items() for quantile in where.tolist()]
        missing: dict[int, list[float]] = {}
        for k, quantile in places:
            if (k, quantile) not in kept:
                missing.setdefault(k, []).append(quantile)
        if missing:
            tried = [replace(branches[k], quantiles=tuple(where)) for k, where in missing.items()]
            solved = self.universe.table.predictor.nominal(tried)
            for item, place in enumerate((k, quantile) for k, where in missing.items() for quantile in where):
                kept[place] = solved.one(item, place[0])
        self._between.update({place: at(kept[place], self.columns) for place in places})
        return super().closer(predictions, branches, gaps)

    def nearby(self, wanted: Mapping[Hashable, Point]) -> Nearby:
        """Return what points read, and how that moves."""
        branches, at = zip(*wanted.values(), strict=True)
        return self.sensitive.nearby(branches, at, self.latents)

    @cached_property
    def sensitive(self) -> Predictor:
        """Return the predictor whose network has the latents' knobs."""
        return self.universe.sensitive.some(self.measurements)

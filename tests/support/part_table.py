"""A table of many readings that serves boards at which only some of them are taken."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import fields, replace

import numpy as np

from seqsim.diagnosis.cells import Cell
from seqsim.diagnosis.conditions import conditions
from seqsim.diagnosis.predict import Branch, Predictions, Predictor
from seqsim.diagnosis.spread import model_latents
from seqsim.diagnosis.steep import Spread, spread_out
from seqsim.diagnosis.table import Table
from seqsim.network.network import Bools, Floats, Ints
from seqsim.readings.measurement import Measurement
from seqsim.solver.batch import Latents


class Remembering(Predictor):
    """A predictor that solves each branch at each severity once, for all readings of a table."""

    def __init__(self, whole: Predictor) -> None:
        super().__init__(whole.desk, whole.conditions, whole.readings)
        self.known: dict[Hashable, tuple[Floats, Bools, bool, Floats]] = {}

    def nearby(
        self, branches: Sequence[Branch], at: Sequence[int], latents: Latents
    ) -> tuple[Floats, Bools, Bools, Floats]:
        """Return tips, whether the board oscillates, is solved, and the moves; see `Predictor.nearby`."""
        keys = [_key(branch, severity) for branch, severity in zip(branches, at, strict=True)]
        first = {key: k for k, key in enumerate(keys) if key not in self.known}
        if first:
            chosen = list(first.values())
            tips, restless, good, moves = super().nearby(
                [branches[k] for k in chosen], [at[k] for k in chosen], latents
            )
            for n, key in enumerate(first):
                self.known[key] = tips[n], restless[n], bool(good[n]), moves[n]
        found = [self.known[key] for key in keys]
        if not found:
            return super().nearby([], [], latents)
        tips_, restless_, good_, moves_ = zip(*found, strict=True)
        return np.stack(tips_), np.stack(restless_), np.array(good_), np.stack(moves_)


def _key(branch: Branch, severity: int) -> Hashable:
    at = float(branch.severities[min(severity, len(branch.severities) - 1)])
    extra = tuple(sorted((state, repr(patches)) for state, patches in branch.extra.items() if patches))
    starts = tuple(sorted((state, id(start)) for state, start in branch.starts.items()))
    return branch.hypothesis, branch.mode.name, at, extra, starts


class Sliced(Predictor):
    """Some readings of a predictor that remembers."""

    def __init__(self, whole: Remembering, some: Predictor, columns: Ints) -> None:
        super().__init__(whole.desk, some.conditions, some.readings)
        self.whole, self.columns = whole, columns

    def nearby(
        self, branches: Sequence[Branch], at: Sequence[int], latents: Latents
    ) -> tuple[Floats, Bools, Bools, Floats]:
        """Return tips, whether the board oscillates, is solved, and the moves; see `Predictor.nearby`."""
        tips, restless, good, moves = self.whole.nearby(branches, at, latents)
        return tips[:, self.columns], restless[:, self.columns], good, moves[:, self.columns]


class PartTable(Table):
    """Some readings of a whole table; what is worked out for one board is there for the next."""

    whole: Table
    columns: Ints
    sliced: Sliced

    @classmethod
    def part(
        cls, whole: Table, remembering: Remembering, measurements: Sequence[Measurement], columns: Ints
    ) -> PartTable:
        """Return the table of some readings, in this order."""
        some = [measurements[k] for k in columns]
        predictor = Predictor(whole.desk, conditions(some), len(some))
        given = {each.name: getattr(whole, each.name) for each in fields(Table) if each.init}
        made = cls(**{
            **given, "predictor": predictor, "limits": whole.limits[columns], "coarse": at(whole.coarse, columns),
            "_fine": {}, "_spread": {},
        })  # fmt: skip
        made.whole, made.columns = whole, columns
        made.sliced = Sliced(remembering, predictor, columns)
        return made

    def fine(self, wanted: Ints) -> Predictions:
        """Return the predictions of some branches at fine severities."""
        return at(self.whole.fine(wanted), self.columns)

    def spread(self, cells: Sequence[Cell]) -> tuple[Spread, ...]:
        """Return the cells with their sensitivities."""
        found = spread_out(self.sliced, self.branches, cells, self.latents, self.keys, self.limits)
        return tuple(each for parts in found for each in parts)


def remembering(table: Table) -> Remembering:
    """Return what remembers the sensitivities of a table."""
    network, _, _ = model_latents(table.desk.network)
    return Remembering(
        Predictor(replace(table.desk, network=network), table.predictor.conditions, table.predictor.readings)
    )


def at(predictions: Predictions, readings: Ints) -> Predictions:
    """Return the predictions of some readings, in this order."""
    return Predictions(
        predictions.branch, predictions.severity, predictions.tips[:, readings], predictions.ohms[:, readings],
        predictions.restless[:, readings], predictions.good,
    )  # fmt: skip

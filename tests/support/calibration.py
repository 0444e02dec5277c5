"""Stated chances beside what came true, by tenths, with intervals that respect which claims stem from one board."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from mixed_boards import Claim, Ranked
from shares import bootstrap, share

from seqsim.network.network import Floats

TENTHS = 10
EACH = 0.995
"""Confidence of each tenth's interval: ten of them hold together with 95 % (Bonferroni)."""


@dataclass(frozen=True)
class Tenth:
    """The claims of one tenth: how many, on how many boards, the mean chance that was stated, and what came true.

    ``low`` to ``high`` is the interval of the true share.
    """

    number: int
    claims: int
    boards: int
    stated: float
    observed: float
    low: float
    high: float

    @property
    def inside(self) -> bool:
        """Tell whether the stated mean lies within the interval."""
        return self.low <= self.stated <= self.high


def tenths(rankings: Iterable[Ranked], chosen: Callable[[Claim], bool]) -> Iterator[Tenth]:
    """Yield the tenths that have claims.

    The claims of one board hang together: the interval is that of as many independent claims as would scatter like
    them (the design effect of clusters: Kish, Survey Sampling (1965), 5.4; from memory).
    """
    boards, stated, right = [], [], []
    for each in rankings:
        for claim in filter(chosen, each.claims):
            boards.append(each.board)
            stated.append(claim.probability)
            right.append(claim.right)
    board, p, hit = np.array(boards), np.array(stated), np.array(right, dtype=np.float64)
    which = np.minimum((TENTHS * p).astype(int), TENTHS - 1)
    for number in range(TENTHS):
        here = which == number
        if here.any():
            yield _tenth(number, board[here], p[here], hit[here])


def _tenth(number: int, board: np.ndarray, p: Floats, hit: Floats) -> Tenth:
    count, observed = len(p), float(hit.mean())
    _, cluster = np.unique(board, return_inverse=True)
    clusters = int(cluster.max()) + 1
    excess = np.bincount(cluster, hit - observed, clusters)
    alone = count * observed * (1 - observed)
    effect = max(float((excess**2).sum()) / alone, 1.0) if alone > 0 else count / clusters
    _, low, high = share(observed * count / effect, count / effect, EACH)
    return Tenth(number, count, clusters, float(p.mean()), observed, low, high)


def tenths_text(rankings: Sequence[Ranked], chosen: Callable[[Claim], bool] = lambda _: True) -> str:
    """Return the tenths as a table."""
    lines = [
        "| stated | claims | boards | mean stated | came true | 99.5 % interval | |",
        "| --- | --- | --- | --- | --- | --- | --- |",
    ]
    for each in tenths(rankings, chosen):
        verdict = "inside" if each.inside else "too sure" if each.stated > each.high else "not sure enough"
        lines.append(
            f"| {each.number / TENTHS:.1f} to {(each.number + 1) / TENTHS:.1f} | {each.claims} | {each.boards} "
            f"| {each.stated:.4f} | {each.observed:.4f} | {each.low:.4f} to {each.high:.4f} | {verdict} |"
        )
    return "\n".join(lines)


def brier_text(rankings: Sequence[Ranked], random: np.random.Generator) -> str:
    """Return the mean Brier score of rankings with its bootstrap interval, whole boards drawn again."""
    index = {board: k for k, board in enumerate(dict.fromkeys(each.board for each in rankings))}
    sums = np.zeros((len(index), 2))
    for each in rankings:
        sums[index[each.board]] += each.brier, 1
    low, high = bootstrap(sums, lambda rows: float(rows[:, 0].sum() / rows[:, 1].sum()), random)
    return f"{sums[:, 0].sum() / sums[:, 1].sum():.4f} ({low:.4f} to {high:.4f})"

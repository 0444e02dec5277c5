"""How likely each kind of fault is, relative to the failure of a film resistor.

Published failure rates know parts. Joints, copper, bridges and shorts of nets are declared judgement: their figures
keep the order that repair practice knows, no more, and `factors` tilts them by a board's history.
"""

from __future__ import annotations

import difflib
from collections.abc import Collection, Mapping
from dataclasses import dataclass

from seqsim.errors import QuantityError, UnknownPlaceError
from seqsim.faults.fault import Kind
from seqsim.parts.part import Source, Standing


@dataclass(frozen=True, slots=True)
class Weight:
    """A frequency in units of a film resistor's failures, and where it comes from."""

    relative: float
    source: Source


def _judged(text: str) -> Source:
    return Source(text, Standing.JUDGEMENT)


WEIGHTS: Mapping[Kind, Weight] = {
    Kind.JOINT: Weight(
        0.1, _judged("each joint; MIL-HDBK-217F 17.1 has 0.05 (reflow) to 2 (by hand) film resistors a connection")
    ),
    Kind.COPPER: Weight(
        2.0, _judged("each via or track that the file names; MIL-HDBK-217F 16.1 has 38 film resistors a board's holes")
    ),
    Kind.BRIDGE: Weight(0.03, _judged("each pair of neighbouring pins; opens of connections outnumber shorts")),
    Kind.MISSING: Weight(0.02, _judged("each part of a board of original assembly")),
    Kind.MISFIT: Weight(
        1.0, _judged("each part, on a board that was reworked or never ran, divided among its wrong ways")
    ),
    Kind.SHORTED: Weight(0.02, _judged("share of a part's failures in which all its pins are shorted together")),
}
SHORT_TO_GROUND = Weight(0.15, _judged("each net; shorts of the parts themselves come on top"))
SHORT_TO_SUPPLY = Weight(0.05, _judged("each net, divided among the supply nets that it can be shorted to"))
LEAK_TO_GROUND = Weight(0.05, _judged("each net: residue, moisture, a damaged input"))
LEAK_TO_SUPPLY = Weight(0.03, _judged("each net, divided among the supply nets that it can leak to"))

SEVERAL = "several"
"""The name by which a factor tilts how often faults meet."""

_ORDER = (Standing.SEEN, Standing.CALCULATED, Standing.COMMON, Standing.MEMORY, Standing.JUDGEMENT)


def combined(share: Source, rate: Source) -> Source:
    """Return the source of a product of two figures; it stands no better than the weaker of them."""
    return Source(f"{share.text}; rate: {rate.text}", max(share.standing, rate.standing, key=_ORDER.index))


def check_factors(factors: Mapping[str, float], names: Collection[str]) -> None:
    """Refuse factors that are no positive numbers or tilt nothing.

    Raises
    ------
    UnknownPlaceError
        If a factor's name is no kind, place or fault of the board.
    QuantityError
        If a factor is negative or no number.
    """
    known = {SEVERAL} | {kind.value for kind in Kind} | set(names)
    for name, factor in factors.items():
        if name not in known:
            close = difflib.get_close_matches(name, sorted(known), n=3)
            either = "' or '".join(close)
            kinds = ", ".join(kind.value for kind in Kind)
            mend = f"did you mean '{either}'?" if close else f"give a kind ({kinds}), a place or a fault"
            raise UnknownPlaceError(f"there is nothing called '{name}' whose prior could be tilted; {mend}", place=name)
        if not 0 <= factor < float("inf"):
            message = f"the factor of '{name}' is {factor}, but it must be a number that is not negative"
            raise QuantityError(message, place=name, got=str(factor))

"""What a board went through, as factors on priors: liquid, impact, heat, rework, first assembly, and the shop's past.

Every factor is ours, by judgement, and is shown with the answer; whoever knows better adds one of their own.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from seqsim.circuit import Circuit, resolve_place
from seqsim.circuit.names import suggest
from seqsim.errors import QuantityError, ReadingError, SeqsimError
from seqsim.faults.fault import Fault
from seqsim.faults.priors import SEVERAL

EVENTS: Mapping[str, Mapping[str, float]] = {
    "liquid": {"leak": 20.0, "bridge": 5.0, "joint": 3.0, "copper": 5.0, "short": 3.0, SEVERAL: 3.0},
    "impact": {"joint": 10.0, "copper": 10.0, "missing": 10.0, SEVERAL: 2.0},
    "heat": {"part": 3.0, "joint": 3.0, "copper": 2.0},
    "rework": {"joint": 10.0, "bridge": 20.0, "copper": 3.0, "missing": 5.0, "misfit": 1.0, SEVERAL: 2.0},
    "first assembly": {
        "joint": 10.0, "bridge": 20.0, "missing": 20.0, "misfit": 2.0, "part": 0.3, SEVERAL: 2.0,
    },
}  # fmt: skip
"""Factors of each event by kind of fault, where the board met it: our judgement. What liquid leaves conducts; a fall
cracks joints and tracks; heat ages parts; hands at work bridge pins, miss parts and fit wrong ones."""
MISFITTING = frozenset({"rework", "first assembly"})
"""Events after which parts may be fitted wrongly."""
CATALOGUE_JOBS = 30.0
"""Past jobs that the catalogue's own shares are worth beside the shop's: a Dirichlet prior (our judgement)."""
MOST_FACTOR = 1e6
FORMS = "liquid at J1, impact, heat, rework at Q1 Q2, first assembly, or a factor like 'leak x3' or 'Q1 x5'"

_FACTOR = re.compile(r"(?P<key>.+?)\s*[x×*]\s*(?P<factor>[-+.\deE]+)")
_EVENT = re.compile(r"(?P<event>.+?)(?:\s+(?:at|near|on)\s+(?P<places>.+))?")


@dataclass(frozen=True, slots=True)
class Tilt:
    """One factor on the priors of a kind, a place or a fault; ``places`` are where it holds, empty for everywhere."""

    said: str
    key: str
    factor: float
    places: frozenset[str] = frozenset()

    def fits(self, fault: Fault) -> bool:
        """Tell whether a fault is meant."""
        named = self.key in {fault.kind.value, fault.name, *fault.also, *fault.places}
        return named and (not self.places or bool(self.places & fault.places))


@dataclass(frozen=True, slots=True)
class Remark:
    """A phrase of a history, and where it was written."""

    text: str
    file: str | None = None
    line: int | None = None


@dataclass(frozen=True)
class History:
    """Factors from what is known of a board, in their order; ``past`` counts what the shop has found before.

    ``misfitted`` are the places where parts may be fitted wrongly: none, or all if it holds an empty set.
    """

    tilts: tuple[Tilt, ...] = ()
    misfitted: tuple[frozenset[str], ...] = ()
    past: tuple[tuple[str, int], ...] = ()

    @classmethod
    def of(cls, factors: Mapping[str, float]) -> History:
        """Return the history that consists of factors by kind, place or name of a fault."""
        return cls(tuple(Tilt(f"{key} x{factor:g}", key, factor) for key, factor in factors.items()))

    @property
    def several(self) -> float:
        """Return the factor on how often faults meet."""
        return _product(tilt.factor for tilt in self.tilts if tilt.key == SEVERAL)

    @property
    def listing(self) -> str:
        """Return a text that is the same for histories with the same list of faults, whatever their priors."""
        gone = sorted(tilt.key + str(sorted(tilt.places)) for tilt in self.tilts if tilt.factor == 0)
        wrong = sorted(str(sorted(places)) for places in self.misfitted)
        return f"{gone} {wrong}" if gone or wrong else ""

    def may_misfit(self, fault: Fault) -> bool:
        """Tell whether a part may be fitted wrongly."""
        return any(not places or places & fault.places for places in self.misfitted)

    def factor(self, fault: Fault) -> float:
        """Return the product of the factors that fit a fault."""
        return _product(tilt.factor for tilt in self.tilts if tilt.fits(fault))

    def with_more(self, other: History) -> History:
        """Return this history and another together."""
        return History(
            (*self.tilts, *other.tilts), (*self.misfitted, *other.misfitted), (*self.past, *other.past)
        )  # fmt: skip

    def tilted(self, faults: Sequence[Fault]) -> tuple[Fault, ...]:
        """Return the faults that are left with priors that add up to one.

        Past jobs are counts of a multinomial with the catalogue's shares as the mean of a Dirichlet prior that is
        worth `CATALOGUE_JOBS`; a count of a kind or place is shared among its faults as their priors are.

        Raises
        ------
        QuantityError
            If no fault is left.
        """
        weights = [fault.prior * self.factor(fault) for fault in faults]
        total = sum(weights)
        if faults and not total > 0:
            raise QuantityError("the factors leave no fault possible; give at least one that is above zero")
        kept = [replace(f, prior=weight / total) for f, weight in zip(faults, weights, strict=True) if weight > 0]
        gained = dict.fromkeys((fault.name for fault in kept), 0.0)
        for key, count in self.past:
            fitting = [fault for fault in kept if Tilt("", key, 1.0).fits(fault)]
            share = sum(fault.prior for fault in fitting)
            for fault in fitting:
                gained[fault.name] += count * fault.prior / share
        worth = CATALOGUE_JOBS + sum(gained.values())
        return tuple(replace(f, prior=(CATALOGUE_JOBS * f.prior + gained[f.name]) / worth) for f in kept)


Factors = Mapping[str, float] | History
"""What tilts priors: plain factors by kind, place or name of a fault, or a history."""


def history_of(circuit: Circuit, remarks: Iterable[Remark]) -> History:
    """Return what phrases say of a board: events, with places if they are known, and factors of one's own.

    Raises
    ------
    ReadingError, UnknownPlaceError
        If a phrase is not understood, or names what the circuit does not have; with file and line if it has any.
    """
    history = History()
    for remark in remarks:
        try:
            history = history.with_more(_said(circuit, " ".join(remark.text.split())))
        except SeqsimError as error:
            message = f"history '{remark.text}': {error.message}"
            raise type(error)(message, file=remark.file, line=remark.line, place=error.place, got=error.got) from None
    return history


def _said(circuit: Circuit, text: str) -> History:
    own = _FACTOR.fullmatch(text)
    if own:
        try:
            factor = float(own["factor"])
        except ValueError:
            factor = float("nan")
        if not 0 <= factor <= MOST_FACTOR:
            message = f"'{own['factor']}' is no factor; give a number from 0 to a million, like 'leak x3'"
            raise ReadingError(message, got=own["factor"])
        return History((Tilt(text, own["key"], factor),))
    found = _EVENT.fullmatch(text)
    event = found["event"].casefold() if found else ""
    if found is None or event not in EVENTS:
        hint = suggest(event, EVENTS) if event else f"; say {FORMS}"
        raise ReadingError(f"'{event}' is nothing that a board goes through{hint}", expected=FORMS, got=text)
    words = re.split(r"[,\s]+", found["places"] or "")
    places = frozenset(_place(circuit, word) for word in words if word not in ("", "and"))
    tilts = tuple(
        Tilt(text, key, factor, frozenset() if key == SEVERAL else places)
        for key, factor in EVENTS[event].items()
    )  # fmt: skip
    return History(tilts, (places,) if event in MISFITTING else ())


def _place(circuit: Circuit, text: str) -> str:
    packages = {part.package for part in circuit.parts.values() if part.package}
    if text in {*circuit.parts, *circuit.copper, *circuit.supplies, *packages}:
        return text
    return resolve_place(circuit, text).name


def _product(factors: Iterable[float]) -> float:
    product = 1.0
    for factor in factors:
        product *= factor
    return product

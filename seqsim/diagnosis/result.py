"""What `rank` returns."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Self

from seqsim.wording import SCHEMA, Result

if TYPE_CHECKING:
    from rich.console import RenderableType

    from seqsim.diagnosis.next_result import Advice

Value = float | tuple[float, float] | str


SURE = 0.8
"""Above this a mechanism is stated only after a check with power off has spoken for it."""
DEAD_KINDS = frozenset({"ohms", "diode", "continuity"})
"""Kinds of readings that are taken with power off."""
UNNAMED = ":something wrong"
"""Ends the name of a fault whose mechanism is left open."""


@dataclass(frozen=True, slots=True)
class Where:
    """A place, or several that look alike, with the probability that the fault is there."""

    place: str
    places: tuple[str, ...]
    group: int
    probability: float

    def to_dict(self) -> dict[str, Any]:
        """Return the documented fields."""
        return {
            "place": self.place, "places": list(self.places), "group": self.group, "probability": self.probability,
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class ReadAgain:
    """A reading that may be a slip, worth taking once more; ``meant`` is a value that would fit, in words.

    ``done`` is what is done to the board for it.
    """

    place: str
    to: str | None
    kind: str
    state: str
    caution: str
    meant: str = ""
    done: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return the documented fields."""
        return {
            "place": self.place, "to": self.to, "kind": self.kind, "state": self.state, "with": list(self.done),
            "caution": self.caution, "meant": self.meant,
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class Tilted:
    """A factor on priors: what was said, the kind, place or fault that it tilts, and where (empty: everywhere)."""

    said: str
    key: str
    places: tuple[str, ...]
    factor: float

    def to_dict(self) -> dict[str, Any]:
        """Return the documented fields."""
        return {"said": self.said, "key": self.key, "places": list(self.places), "factor": self.factor}


@dataclass(frozen=True, slots=True)
class Judged:
    """A reading beside what a healthy board shows there, 5th to 95th percentile, in the unit of the reading.

    ``verdict`` is ``as_healthy``, ``low``, ``high``, ``contradicts_another`` or ``no_prediction``. ``origin`` tells
    where a reference comes from: ``good board`` or ``experience``, the ohms of a rail in the circuit file. ``done`` is
    what was done to the board for the reading.
    """

    place: str
    to: str | None
    kind: str
    state: str
    value: Value
    unit: str
    healthy_low: float | None
    healthy_high: float | None
    verdict: str
    origin: str = ""
    done: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return the documented fields."""
        return {
            "place": self.place, "to": self.to, "kind": self.kind, "state": self.state, "with": list(self.done),
            "value": list(self.value) if isinstance(self.value, tuple) else self.value, "unit": self.unit,
            "healthy_low": self.healthy_low, "healthy_high": self.healthy_high, "verdict": self.verdict,
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class Predicted:
    """What a hypothesis predicts for one reading, and whether the reading speaks for it."""

    predicted: float | None
    low: float | None
    high: float | None
    speaks: str

    def to_dict(self) -> dict[str, Any]:
        """Return the documented fields."""
        return {"predicted": self.predicted, "low": self.low, "high": self.high, "speaks": self.speaks}


@dataclass(frozen=True, slots=True)
class Shows:
    """What is read at a place once a fault is repaired: 5th to 95th percentile in the unit of the reading, or words."""

    place: str
    to: str | None
    kind: str
    state: str
    low: float | str
    high: float | str
    unit: str

    def to_dict(self) -> dict[str, Any]:
        """Return the documented fields."""
        return {
            "place": self.place, "to": self.to, "kind": self.kind, "state": self.state, "low": self.low,
            "high": self.high, "unit": self.unit,
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class Explained:
    """One hypothesis of a ranking. ``faults`` is empty for a healthy board; ``group`` -1 has no look-alikes."""

    faults: tuple[str, ...]
    place: str
    probability: float
    group: int
    group_size: int
    readings_explained: int
    readings_total: int
    confirm: str
    repair: str
    caution: str
    predictions: tuple[Predicted, ...]
    proof: tuple[Shows, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return the documented fields."""
        return {
            "faults": list(self.faults), "place": self.place, "probability": self.probability, "group": self.group,
            "group_size": self.group_size, "readings_explained": self.readings_explained,
            "readings_total": self.readings_total, "confirm": self.confirm, "repair": self.repair,
            "caution": self.caution, "predictions": [each.to_dict() for each in self.predictions],
            "proof": [each.to_dict() for each in self.proof],
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class Ranking(Result):
    """The faults that explain what was measured; hypotheses and none_of_these add up to one.

    Electrically many mechanisms read the same, so none is stated with more than `SURE` before a check with power off
    speaks for it: the fields of a hypothesis say so, and ``what`` gives no probability then.
    """

    circuit: str
    where: tuple[Where, ...]
    read_again: tuple[ReadAgain, ...]
    readings: tuple[Judged, ...]
    hypotheses: tuple[Explained, ...]
    none_of_these: float
    cautions: tuple[str, ...]
    next: tuple[Mapping[str, Any], ...] = ()
    stop: Mapping[str, Any] | None = None
    """why no reading is advised where one was asked for: fields of the advice"""
    history: tuple[Tilted, ...] = ()
    reference: tuple[Judged, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return the documented fields of ``rank``."""
        return {
            "schema": SCHEMA,
            "circuit": self.circuit,
            "where": [each.to_dict() for each in self.where],
            "read_again": [each.to_dict() for each in self.read_again],
            "readings": [each.to_dict() for each in self.readings],
            "what": self._what(),
            "hypotheses": [each.to_dict() | {"stated": self.stated(each)} for each in self.hypotheses],
            "none_of_these": self.none_of_these,
            "next": [dict(each) for each in self.next],
            "stop": None if self.stop is None else dict(self.stop),
            "reference": [each.to_dict() | {"origin": each.origin} for each in self.reference],
            "history": [each.to_dict() for each in self.history],
            "cautions": list(self.cautions),
        }

    def advised(self, advice: Advice) -> Self:
        """Return the ranking with the readings to take next, or why none is needed."""
        told = advice.to_dict()
        stop = {key: told[key] for key in ("stop", "leading", "confirm")} if advice.stop else None
        return replace(self, next=tuple(told["next"]), stop=stop)

    def stated(self, hypothesis: Explained) -> bool:
        """Tell whether a mechanism may be stated with its probability."""
        mechanism = any(not fault.endswith(UNNAMED) for fault in hypothesis.faults)
        return not mechanism or hypothesis.probability <= SURE or bool(self.checks(hypothesis))

    def checks(self, hypothesis: Explained) -> tuple[Judged, ...]:
        """Return the readings with power off that speak for a hypothesis."""
        pairs = zip(hypothesis.predictions, self.readings, strict=False)
        return tuple(read for told, read in pairs if told.speaks == "for" and read.kind in DEAD_KINDS)

    def _what(self) -> dict[str, Any] | None:
        """Return the likeliest hypothesis, its probability if it may be stated, and the check that it waits for."""
        if not self.hypotheses:
            return None
        best = self.hypotheses[0]
        stated = self.stated(best)
        return {
            "faults": list(best.faults), "stated": stated, "probability": best.probability if stated else None,
            "checked_by": [each.place for each in self.checks(best)], "confirm": best.confirm,
        }  # fmt: skip

    def renderable(self) -> RenderableType:
        """Return the ranking for people."""
        from seqsim.wording.ranking import ranking_text

        return ranking_text(self.to_dict())

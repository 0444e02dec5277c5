"""A board: what `seqsim.load` returns."""

from __future__ import annotations

import os
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from seqsim.circuit import Circuit
    from seqsim.diagnosis import Advice, Desk, Ranking, Verification
    from seqsim.drawing import Picture
    from seqsim.logic import Explanation, LogicFunction
    from seqsim.readings import Readings
    from seqsim.results import Checked, FaultList, LevelMap
    from seqsim.sequence import PowerUp
    from seqsim.spice import SpicePass
    from seqsim.spice.deck import Deck


@dataclass(frozen=True)
class Board:
    """A circuit with the questions that one asks of it.

    Each call returns a result that prints well, has its documented fields in ``to_dict()``, and as text in
    ``to_json()``.
    """

    name: str
    """The name or path by which it was loaded."""
    circuit: Circuit

    @classmethod
    def load(cls, circuit: str | os.PathLike[str]) -> Board:
        """Return the board of a circuit file, or of a circuit of the library.

        Raises
        ------
        CircuitError
            If there is no such circuit, or its file does not describe one.
        """
        from seqsim.circuit import find_circuit, read_circuit

        name = os.fspath(circuit)
        return cls(name, read_circuit(find_circuit(name)))

    def check(self) -> Checked:
        """Return what is legal in the circuit but suspicious."""
        from seqsim.results import check_board

        return check_board(self.name, self.circuit)

    def levels(self, state: str | None = None, faults: str | Iterable[str] = ()) -> LevelMap:
        """Return the steady levels of every net.

        Parameters
        ----------
        state
            Name of a power state; the last one if not given.
        faults
            One fault or several, by name: ``R5:open``, ``V5:short to GND, 8 Ω``.
        """
        from seqsim.results import level_map

        self._say_taken()
        return level_map(self.name, self.circuit, state, _listed(faults))

    def powerup(
        self,
        faults: str | Iterable[str] = (),
        until: str | float | None = None,
        *,
        down: bool = False,
        draws: int | None = None,
    ) -> PowerUp:
        """Return what happens over time: the order of the rails, the first that is missing and what it waits for.

        Parameters
        ----------
        faults
            One fault or several, by name.
        until
            End of the power-up, in seconds or as text (``200ms``); by default some time after the last power state.
        down
            Go back through the power states afterwards.
        draws
            Boards with other tolerances that are run beside the nominal one; 0 for none.
        """
        from seqsim.sequence import power_up, seconds_of

        self._say_taken()
        return power_up(self.name, self.circuit, _listed(faults), seconds_of(until), down=down, draws=draws)

    def faults(self, history: Sequence[str] = (), past: str | os.PathLike[str] | None = None) -> FaultList:
        """Return every single fault that the board can have, with its share before any reading.

        Parameters
        ----------
        history, past
            What the board went through, and a file of past jobs; see `read`.

        Raises
        ------
        ReadingError, UnknownPlaceError
            If a phrase or the file is not understood.
        """
        from seqsim.diagnosis.known import history_known
        from seqsim.faults import single_faults, tilts_told
        from seqsim.readings import Readings
        from seqsim.results import FaultList

        self._say_taken()
        known = history_known(self.circuit, _remembered(Readings(), history, past))
        return FaultList(self.name, single_faults(self.circuit, known), tilts_told(self.circuit, known))

    def read(
        self,
        readings: str | os.PathLike[str] | Readings | Sequence[str] | None = None,
        more: Sequence[str] = (),
        *,
        history: Sequence[str] = (),
        past: str | os.PathLike[str] | None = None,
    ) -> Readings:
        """Return readings as objects: those of a file or a list, and ``more`` in shorthand.

        Parameters
        ----------
        readings
            A file of readings (a path, or the name of a file beside the circuit's), readings as objects, or a list of
            readings in shorthand; those that notes hold come on top.
        more
            Further readings in shorthand: ``"EN 0.02"``.
        history
            What the board went through (``"liquid at J1"``, ``"impact"``, ``"heat"``, ``"rework at Q1"``, ``"first
            assembly"``), and factors of one's own on a kind, place or fault (``"leak x3"``).
        past
            A file that counts what was found on such boards before.

        Raises
        ------
        ReadingError, UnknownPlaceError
            If there is none, or one is not understood.
        """
        from seqsim.errors import ReadingError
        from seqsim.readings import Readings, read_readings, split_shorthand

        if readings is None:
            base = Readings()
        elif isinstance(readings, Readings):
            base = readings
        elif isinstance(readings, str | os.PathLike):
            base = read_readings(self.circuit, self._find(readings))
        else:
            base, more = Readings(), (*readings, *more)
        noted = [split_shorthand(text, file=self.circuit.file, line=line) for line, text in self.circuit.noted]
        if isinstance(readings, Readings):
            noted = []  # they were put to them when they were made
        taken = base.with_more(self.circuit, (*noted, *(split_shorthand(text) for text in more)))
        if not taken.readings and not taken.seen:
            message = "there is no reading to rank by; give a file of readings, or some in shorthand like EN 0.02"
            raise ReadingError(message, file=base.file)
        return _remembered(taken, history, past)

    def rank(
        self,
        readings: str | os.PathLike[str] | Readings | Sequence[str] | None = None,
        more: Sequence[str] = (),
        *,
        history: Sequence[str] = (),
        past: str | os.PathLike[str] | None = None,
        following: int = 0,
    ) -> Ranking:
        """Return the faults that explain what was measured, ranked; for what it takes see `read`.

        Parameters
        ----------
        following
            How many next readings to advise with it (see `next`); they take some seconds more.

        Raises
        ------
        ReadingError, UnknownPlaceError
            If there is no reading, or one is not understood.
        """
        from seqsim.diagnosis import Standing, advise, diagnose, ranking, standing_after

        taken = self.read(readings, more, history=history, past=past)
        if self.circuit.doubts:
            from seqsim.diagnosis.unsure import rank_unsure

            unsure = rank_unsure(self.circuit, taken)
            if following:
                unsure = unsure.advised(self.next(taken, most=following))
            return replace(unsure, circuit=self.name)
        if taken.seen:
            from seqsim.diagnosis.over_time import rank_over_time

            found = rank_over_time(self.circuit, taken)
            standing = standing_after(self.circuit, taken, self._desk) if following else None
        else:
            known = diagnose(self.circuit, taken, at=self._desk)
            found = ranking(known, taken.readings)
            standing = Standing.of(known, taken.readings)
        if following and standing is not None:
            found = found.advised(advise(standing, taken.meter, following))
        return replace(found, circuit=self.name)

    def next(
        self,
        readings: str | os.PathLike[str] | Readings | Sequence[str] | None = None,
        more: Sequence[str] = (),
        *,
        most: int = 5,
        history: Sequence[str] = (),
        past: str | os.PathLike[str] | None = None,
    ) -> Advice:
        """Return the readings to take next, or why none is needed; for what it takes beside ``most`` see `read`.

        Parameters
        ----------
        most
            How many readings are advised. Without any reading so far the first one is advised.

        Raises
        ------
        ReadingError, UnknownPlaceError
            If a reading is not understood.
        """
        from seqsim.diagnosis import Standing, advise, standing_after
        from seqsim.diagnosis.known import history_known
        from seqsim.diagnosis.likeliest import likeliest
        from seqsim.readings import Readings

        none = readings is None and not more and not self.circuit.noted
        taken = Readings() if none else self.read(readings, more)
        taken = _remembered(taken, history, past)
        one = likeliest(self.circuit, taken)
        at = self._desk if one.circuit is self.circuit else None
        if none:
            standing = Standing.before(one.circuit, at, history=history_known(one.circuit, taken))
        else:
            standing = standing_after(one.circuit, one.readings, at)
        return replace(one.told(advise(standing, taken.meter, most)), circuit=self.name, taken=one.taken)

    def verify(
        self,
        readings: str | os.PathLike[str] | Readings | Sequence[str] | None = None,
        more: Sequence[str] = (),
        *,
        repaired: str | Iterable[str] = (),
    ) -> Verification:
        """Return whether a repaired board is as it should be; for ``readings`` and ``more`` see `read`.

        Parameters
        ----------
        repaired
            One fault or several, by name: the readings that prove the repair are asked for, too.

        Raises
        ------
        ReadingError, UnknownPlaceError
            If a reading or a fault is not understood.
        """
        from seqsim.diagnosis import verify
        from seqsim.diagnosis.likeliest import likeliest
        from seqsim.readings import Readings

        none = readings is None and not more and not self.circuit.noted
        one = likeliest(self.circuit, Readings() if none else self.read(readings, more))
        found = verify(one.circuit, one.readings, one.here(_listed(repaired)))
        return replace(one.told(found), circuit=self.name, taken=one.taken)

    def why(
        self,
        node: str | None = None,
        state: str | None = None,
        faults: str | Iterable[str] = (),
        *,
        readings: str | os.PathLike[str] | Readings | Sequence[str] | None = None,
        read: Sequence[str] = (),
        deep: bool = False,
    ) -> Explanation:
        """Return why a node is at its level: who pulls which way, what holds each device on or off, what would flip it.

        Parameters
        ----------
        node
            A net, pin, pad or copper; the target if not given.
        state
            Name of a power state; the last one if not given.
        faults
            One fault or several, by name.
        readings, read
            What was measured, instead of faults (see `read`): the measured board is explained, and where the readings
            stop agreeing with the drawing.
        deep
            Go on through rails that are up, to the supplies.
        """
        from seqsim.errors import SeqsimError
        from seqsim.logic import explain

        self._say_taken()
        names = _listed(faults)
        if readings is None and not read:
            return explain(self.name, self.circuit, node, state, names, deep=deep)
        if names:
            raise SeqsimError("give faults or readings, not both: readings are explained beside the healthy board")
        from seqsim.logic.measured import explain_readings

        taken = self.read(readings, read).at_rest("why")
        return explain_readings(self.name, self.circuit, taken.readings, node, state, meter=taken.meter, deep=deep)

    def spice(self, state: str | None = None, faults: str | Iterable[str] = (), *, full: bool = False) -> SpicePass:
        """Return the board in SPICE beside the switch level; needs the extra `seqsim[spice]` and its engine.

        Parameters
        ----------
        state
            Name of a power state; the last one if not given.
        faults
            One fault or several, by name.
        full
            Device models with all their effects, not those of the plain laws.
        """
        from seqsim.spice import spice_pass

        self._say_taken()
        return spice_pass(self.name, self.circuit, state, _listed(faults), full=full)

    def spice_deck(self, state: str | None = None, faults: str | Iterable[str] = (), *, full: bool = False) -> Deck:
        """Return the board as a SPICE deck; its text is what the engine would run."""
        from seqsim.spice import spice_deck

        return spice_deck(self.circuit, state, _listed(faults), full=full)

    def draw(
        self,
        node: str | None = None,
        state: str | None = None,
        faults: str | Iterable[str] = (),
        *,
        readings: str | os.PathLike[str] | Readings | Sequence[str] | None = None,
        read: Sequence[str] = (),
        whole: bool = False,
    ) -> Picture:
        """Return the chain diagram: sources on the left, target on the right, levels, what conducts, what is broken.

        Parameters
        ----------
        node
            A net or pin: only what decides it is drawn.
        state
            Name of a power state; the last one if not given.
        faults
            One fault or several, by name.
        readings, read
            Readings to mark where they were taken; see `read`.
        whole
            Draw all of a board that is too large for one page; else its target's chain is drawn.
        """
        from seqsim.drawing import draw_chain

        self._say_taken()
        taken = self.read(readings, read).at_rest("draw").readings if readings is not None or read else ()
        return draw_chain(
            self.name, self.circuit, state=state, faults=_listed(faults), readings=taken, node=node, whole=whole
        )

    def logic(
        self,
        node: str | None = None,
        state: str | None = None,
        faults: str | Iterable[str] = (),
        *,
        inputs: Sequence[str] | None = None,
    ) -> LogicFunction:
        """Return a node as a function of supplies, signals and switches: truth table, shortest expression, stages.

        Parameters
        ----------
        node
            A net, pin, pad or copper; the target if not given.
        state
            Power state in which inputs that are left out stand; the last one if not given.
        faults
            One fault or several, by name: the function is that of the broken board, beside the healthy one.
        inputs
            Names of the inputs; all that can matter if not given.
        """
        from seqsim.logic import logic

        self._say_taken()
        return logic(self.name, self.circuit, node, state, _listed(faults), inputs=inputs)

    @cached_property
    def _desk(self) -> Desk:
        """The board made ready for diagnosis: further readings begin with what earlier ones worked out."""
        from seqsim.diagnosis import desk

        return desk(self.circuit, stored=True)

    def _find(self, readings: str | os.PathLike[str]) -> Path:
        """Return the file of readings; a bare name that is not here may lie beside the circuit file."""
        path = Path(readings)
        if path.exists() or path.name != os.fspath(readings) or self.circuit.file is None:
            return path
        beside = Path(self.circuit.file).parent / path
        return beside if beside.is_file() else path

    def _say_taken(self) -> None:
        """Log what a single drawing is taken to be where notes leave it open."""
        if self.circuit.doubts:
            import logging

            taken = ", ".join(f"{doubt.name} as {doubt.answers[0].label}" for doubt in self.circuit.doubts[:4])
            more = " and others" if len(self.circuit.doubts) > 4 else ""
            message = "the notes leave this open, taken here are %s%s; `seqsim rank` and `seqsim notes` weigh all of it"
            logging.getLogger("seqsim").info(message, taken, more)

    def __str__(self) -> str:
        title = f": {self.circuit.title}" if self.circuit.title else ""
        states = ", ".join(self.circuit.power_states)
        return f"{self.name}{title} ({len(self.circuit.parts)} parts; power states {states})"


def draw_result(result: Any, **options: Any) -> Picture:
    """Return the picture of a board or of one of its results; see `seqsim.draw`."""
    from seqsim.drawing import draw

    return result.draw(**options) if isinstance(result, Board) else draw(result)


def _remembered(readings: Readings, history: Sequence[str], past: str | os.PathLike[str] | None) -> Readings:
    """Return readings with more of what is known of the board's past."""
    phrases = (*readings.history, *((phrase, None, None) for phrase in history))
    return readings.model_copy(
        update={"history": phrases, "past": readings.past if past is None else os.fspath(past)}
    )  # fmt: skip


def _listed(faults: str | Iterable[str]) -> tuple[str, ...]:
    return (faults,) if isinstance(faults, str) else tuple(faults)

"""What cannot be: a kind of reading in a power state, at a supply, or with what was done to the board."""

from __future__ import annotations

from collections.abc import Sequence

from seqsim.circuit import OFF, Circuit
from seqsim.circuit.names import suggest
from seqsim.errors import ReadingError, UnknownPlaceError
from seqsim.quantity import Unit, format_quantity
from seqsim.readings.interventions import Forced, Intervention, Lifted, Pulled, Removed, limit_of
from seqsim.readings.kinds import Kind, Site
from seqsim.readings.places import match

Value = float | tuple[float, float] | str

ABOVE_LIMIT = 1.5
"""Times its current limit that a supply may still be read to deliver: limits are coarse (our judgement)."""


def state_of(circuit: Circuit, text: str, kind: Kind, value: Value) -> str:
    """Return the power state of a reading: the one named, else the last, or `off` for what is read without power.

    Raises
    ------
    UnknownPlaceError, ReadingError
        If there is no such state, or nothing to be read in it.
    """
    states = list(circuit.power_states)
    if not text:
        return states[-1] if kind.live else OFF
    state = match(text, states)
    if state is None:
        raise UnknownPlaceError(f"there is no power state '{text}'{suggest(text, states)}", place=text)
    if not kind.live and state != OFF:
        message = f"a reading of {kind.name} needs the power off, and '{state}' is not; leave it out or write @{OFF}"
        raise ReadingError(message)
    if state == OFF and kind.site is not Site.NODES:
        raise ReadingError(f"there is no {kind.name} to read in '{OFF}'; name a powered state, like @{states[-1]}")
    if state == OFF and value == "pulsing":
        raise ReadingError(f"nothing pulses in '{OFF}', where every supply is away; name a state, like @{states[-1]}")
    return state


def check_supply(
    circuit: Circuit, supply: str, state: str, value: Value | None, interventions: Sequence[Intervention]
) -> None:
    """Refuse a current that a supply cannot show in a power state; of a ratio to a good board there is no value."""
    applied = circuit.power_states[state].on
    if supply not in applied:
        others = [name for name, each in circuit.power_states.items() if supply in each.on]
        mend = f"; name a state that applies it, like @{others[0]}" if others else ""
        raise ReadingError(f"'{supply}' is not applied in '{state}'{mend}")
    if any(isinstance(each, Pulled) and each.part == supply for each in interventions):
        raise ReadingError(f"'{supply}' is pulled, so it delivers nothing; leave the current or 'pulled' out")
    limit = limit_of(circuit, supply, tuple(interventions))
    if isinstance(value, str) and limit is None:
        message = (
            f"'{supply}' has no current limit; give it `amps` in the circuit file, or write the current like 0.35A"
        )
        raise ReadingError(message)
    most, own = value[0] if isinstance(value, tuple) else value, circuit.supplies[supply].amps
    if isinstance(most, float) and own is not None and most > ABOVE_LIMIT * own:
        most_text, limit_text = format_quantity(most, Unit.AMPERE), format_quantity(own, Unit.AMPERE)
        message = f"{most_text} is more than '{supply}' gives, whose limit is {limit_text}; write mA for milliamperes"
        raise ReadingError(message)


def check_done(kind: Kind, places: Sequence[str | None], interventions: Sequence[Intervention]) -> None:
    """Refuse what cannot be done to a board at once, or leaves nothing to read at a place."""
    subjects = [each.subject for each in interventions]
    for subject in subjects:
        if subjects.count(subject) > 1:
            raise ReadingError(f"'{subject}' is named by two interventions; write one", place=subject)
    gone = {pin: each.part for each in interventions if isinstance(each, Removed) for pin in each.pins}
    for each in interventions:
        pin = each.pin if isinstance(each, Lifted) else ""
        if pin in gone:
            raise ReadingError(
                f"{gone[pin]} is off the board, so {pin} cannot be lifted; write one of the two", place=pin
            )
        if not kind.live and isinstance(each, Forced):
            message = f"{kind.name} is read without power, and a force is power; leave '{each}' out, or read volts"
            raise ReadingError(message, place=each.place)
    for place in places:
        if place in gone and kind.live:
            message = f"{place} is off the board with {gone[place]}: put the tip on its pad"
            raise ReadingError(message, expected=f"{place}/pad {kind.example}")
        if kind.site is Site.PART and place in gone.values():
            raise ReadingError(f"{place} is off the board, so it cannot be {kind.name}; leave one of the two out")

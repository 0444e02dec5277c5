"""Continuity readings that the drawing of notes does not expect: of a fault, or of a drawing that is not right yet."""

from __future__ import annotations

from seqsim.circuit import Circuit, resolve_place
from seqsim.readings import Readings


def unexpected_contacts(circuit: Circuit, readings: Readings) -> tuple[str, ...]:
    """Return a sentence for each continuity reading that contradicts the nets, with the line that would mend them."""
    found = []
    for each in readings.readings:
        if each.kind != "continuity" or each.to is None:
            continue
        one, other = (resolve_place(circuit, place).net for place in (each.place, each.to))
        first, second = (_end(circuit, place) for place in (each.place, each.to))
        ends = f"{first} to {second}"
        if each.value == "beep" and one != other:
            found.append(f"{ends} beeps by a fault; if {one} and {other} are one net, note: {first} = {second}")
        elif each.value in ("OL", "silent") and one == other:
            note = f"{first} not {second}"
            found.append(f"{ends} is broken; if they were never one net, write {note} in place of the contact")
    return tuple(found)


def _end(circuit: Circuit, place: str) -> str:
    """Return a place as it is written in notes: a net that is called after a pin as that pin."""
    pins = (alias for alias in circuit.aliases if "." in alias and alias.replace(".", "_") == place)
    return place if "." in place else next(pins, place)

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
        ends = f"{each.place} to {each.to}"
        if each.value == "beep" and one != other:
            found.append(f"{ends} beeps by a fault; if {one} and {other} are one net, note: {each.place} = {each.to}")
        elif each.value in ("OL", "silent") and one == other:
            note = f"{each.place} not {each.to}"
            found.append(f"{ends} is broken; if they were never one net, write {note} in place of the contact")
    return tuple(found)

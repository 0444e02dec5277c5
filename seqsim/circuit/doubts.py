"""What is not known of a drawing: questions with a few answers, each a change of the circuit with its prior.

A circuit that was read stands at the first answer of each question; `answered` gives the circuit of other answers.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from enum import Enum
from typing import TYPE_CHECKING, Any

from pydantic import BaseModel, ConfigDict, SerializeAsAny

from seqsim.parts.part import Part
from seqsim.parts.resistor import Resistor
from seqsim.parts.supply import Supply
from seqsim.quantity import Unit, format_quantity

if TYPE_CHECKING:
    from seqsim.circuit.model import Circuit, Copper


class About(Enum):
    """What a question is about."""

    KIND = "kind"
    VALUE = "value"
    UPSTREAM = "upstream"
    CONTACT = "contact"


class Answer(BaseModel):
    """One answer: its prior, and what it changes in the circuit of the first answers.

    ``parts`` replace those of their names, ``supplies`` are added with the power states that apply them (``applied``),
    ``apart`` gives pins another net, ``without_copper`` goes away; ``renamed`` maps pins of the first answer to those
    of this one.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    label: str
    prior: float
    parts: Mapping[str, SerializeAsAny[Part]] = {}
    supplies: Mapping[str, Supply] = {}
    applied: Mapping[str, tuple[str, ...]] = {}
    apart: Mapping[str, str] = {}
    without_copper: tuple[str, ...] = ()
    renamed: Mapping[str, str] = {}


class Doubt(BaseModel):
    """A question about the drawing; ``place`` is the part, net or pin to trace for its answer.

    The priors of its answers add up to one. ``held`` is the rail that alone holds a net whose end is open, if one does.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    name: str
    about: About
    place: str
    question: str
    answers: tuple[Answer, ...]
    line: int | None = None
    held: str = ""


BEYOND = "beyond_"
"""Begins the name of what stands behind a net that is not traced further."""
LEAST_OHMS, MOST_OHMS = 100.0, 1e6
"""What a resistor of unknown value may be, log-uniform: our judgement of enable chains."""


def value_doubts(circuit: Circuit, points: int) -> tuple[Doubt, ...]:
    """Return a doubt for each resistor whose value is not known: equal parts of 100 Ω to 1 MΩ on a logarithmic scale.

    Each answer stands for its part of the range: its middle, with the standard deviation of a uniform logarithm.
    """
    found = []
    step = (MOST_OHMS / LEAST_OHMS) ** (1 / points)
    for name, part in circuit.parts.items():
        if not isinstance(part, Resistor) or "ohms" not in part.unknown:
            continue
        answers = []
        for k in range(points):
            low, high = LEAST_OHMS * step**k, LEAST_OHMS * step ** (k + 1)
            spread = {**part.spread, "ohms": math.log(step) / math.sqrt(12)}
            made = part.model_copy(
                update={"ohms": math.sqrt(low * high), "unknown": part.unknown - {"ohms"}, "spread": spread}
            )
            label = f"{format_quantity(low, Unit.OHM)} to {format_quantity(high, Unit.OHM)}"
            answers.append(Answer(label=label, prior=1 / points, parts={name: made}))
        question = f"what is the value of {name}"
        found.append(
            Doubt(
                name=f"{name} ohms", about=About.VALUE, place=name, question=question, answers=tuple(answers),
                line=circuit.line("parts", name),
            )
        )  # fmt: skip
    return tuple(found)


def answered(circuit: Circuit, chosen: Mapping[str, Answer]) -> Circuit:
    """Return the circuit with these answers to its doubts, by name; what is not answered stays at its first one."""
    parts, copper = dict(circuit.parts), dict(circuit.copper)
    supplies, states = dict(circuit.supplies), dict(circuit.power_states)
    renamed: dict[str, str] = {}
    probe_points = dict(circuit.probe_points)
    for answer in chosen.values():
        renamed |= answer.renamed
        parts |= answer.parts
        supplies |= answer.supplies
        for supply, on in answer.applied.items():
            for state in on:
                before = states[state]
                states[state] = before.model_copy(update={"on": (*before.on, supply)})
    for answer in chosen.values():
        for terminal, net in answer.apart.items():
            name, _, pin = renamed.get(terminal, terminal).rpartition(".")
            part = parts[name]
            parts[name] = part.model_copy(update={"pins": {**part.pins, pin: net}})
        for name in answer.without_copper:
            copper.pop(name, None)
    if renamed:
        copper = {name: _renamed(piece, renamed) for name, piece in copper.items()}
        probe_points = {
            renamed.get(place, place): point.model_copy(update={"place": renamed.get(place, place)})
            for place, point in probe_points.items()
        }
    left = tuple(doubt for doubt in circuit.doubts if doubt.name not in chosen)
    update: dict[str, Any] = {
        "parts": parts, "copper": copper, "supplies": supplies, "power_states": states,
        "probe_points": probe_points, "doubts": left,
    }  # fmt: skip
    return circuit.model_copy(update=update)


def _renamed(piece: Copper, renamed: Mapping[str, str]) -> Copper:
    first, second = piece.touch
    return piece.model_copy(
        update={
            "cuts_off": tuple(renamed.get(pin, pin) for pin in piece.cuts_off),
            "touch": (renamed.get(first, first), renamed.get(second, second)),
        }
    )

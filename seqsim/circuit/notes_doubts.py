"""The doubts that notes leave: what a part is, whether a contact is there, what stands behind a net."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from seqsim.circuit.doubts import About, Answer, Doubt
from seqsim.circuit.draft import CircuitErrors, Draft
from seqsim.circuit.model import Circuit
from seqsim.circuit.notes_facts import Absent, Fact
from seqsim.circuit.notes_parts import NotedPart, pin_maps
from seqsim.circuit.notes_words import ROLE_LETTERS, KindOption
from seqsim.circuit.read_parts import read_parts
from seqsim.circuit.source import Entries, Node, Text
from seqsim.parts import Part

LEAST_SHARE = 0.02
"""Answers that are less likely than the likeliest by this factor, before any reading, are left out."""
STEADY_CONTROL, IDLE_OUTPUT, ODD_FOLLOWER = 0.02, 0.05, 0.3
"""Factors on what makes little sense as a stage: a control pin tied to a supply or ground, an N-type's output on ground
or a P-type's on a supply, and a P-type's common pin on ground or an N-type's on a supply (our judgement)."""
EXPECTED_SHARE = 0.5
"""Chance that a contact that was expected and does not beep is there in the drawing, and broken (our judgement)."""


@dataclass(frozen=True)
class Apart:
    """What lies apart if a contact is not only absent but was never there: terminals and their net then."""

    terminals: tuple[str, ...]
    net: str


EntriesOf = Callable[[NotedPart, KindOption, Mapping[str, str]], dict[str, Node]]


def kind_doubts(parts: Mapping[str, NotedPart], circuit: Circuit, entries_of: EntriesOf) -> tuple[Doubt, ...]:
    """Return a doubt for each part that may be several things, or have its pins in several orders."""
    found = []
    for part in parts.values():
        if part.name not in circuit.parts:
            continue
        ways = [
            (option, package, pins, option.prior * prior)
            for option in part.options
            for package, pins, prior in pin_maps(part, option)
        ]
        if part.doubt and part.value is not None:
            found += _value_doubt(part, circuit)
        if len(ways) < 2:
            continue
        ways.sort(key=lambda way: -way[3])
        first = circuit.parts[part.name]
        ways.sort(key=lambda way: _pins_of(entries_of, part, way) != dict(first.pins) or way[0].kind != first.kind)
        answers: list[tuple[str, float, Part, dict[str, str]]] = []
        for option, package, pins, prior in ways:
            made = _made(part, entries_of(part, option, pins))
            if made is None:
                continue
            orders = {way[1] for way in ways if way[0] is option}
            label = f"{option.label} ({package})" if len(orders) > 1 else option.label
            renamed = {} if not answers else _renamed(part, first, made, ways[0][2], pins)
            answers.append((label, prior * _sense(made, circuit), made, renamed))
        best = max((prior for _, prior, _, _ in answers), default=0.0)
        answers = [each for each in answers if each is answers[0] or each[1] >= LEAST_SHARE * best]
        total = sum(prior for _, prior, _, _ in answers)
        if len(answers) > 1:
            found.append(
                Doubt(
                    name=part.name, about=About.KIND, place=part.name, line=part.line,
                    question=f"what is {part.name}",
                    answers=tuple(
                        Answer(label=label, prior=prior / total, parts={part.name: made}, renamed=renamed)
                        for label, prior, made, renamed in answers
                    ),
                )
            )  # fmt: skip
    return tuple(found)


def _sense(part: Part, circuit: Circuit) -> float:
    """Return how likely it is that anyone wires a part so, as a factor on its prior."""
    letters = ROLE_LETTERS.get(part.kind)
    if letters is None:
        return 1.0
    net = {role: part.pins[letter] for role, letter in letters.items()}
    fed = {supply.net for supply in circuit.supplies.values() if supply.idle == "open"}
    down, up = (circuit.grounds, fed) if part.kind in ("npn", "nmos") else (fed, circuit.grounds)
    factor = STEADY_CONTROL if net["control"] in (*fed, *circuit.grounds) else 1.0
    factor *= IDLE_OUTPUT if net["output"] in down else 1.0
    return factor * (ODD_FOLLOWER if net["common"] in up else 1.0)


def _pins_of(
    entries_of: EntriesOf, part: NotedPart, way: tuple[KindOption, str, Mapping[str, str], float]
) -> dict[str, str]:
    node = entries_of(part, way[0], way[2])["pins"]
    if not isinstance(node, Entries):
        return {}
    return {key.text: value.text for key, value in node.entries if isinstance(value, Text)}


def _made(part: NotedPart, entries: Mapping[str, Node]) -> Part | None:
    """Return the part of these entries, as the reader of circuit files makes it; None if it refuses."""
    draft = Draft(None)
    node = Entries([(Text(key, part.line), value) for key, value in entries.items()], part.line)
    try:
        return read_parts(draft, Entries([(Text(part.name, part.line), node)], part.line), {}).parts.get(part.name)
    except CircuitErrors:
        return None


def _renamed(
    part: NotedPart, first: Part, other: Part, first_pins: Mapping[str, str], pins: Mapping[str, str]
) -> dict[str, str]:
    """Return which pin of another answer each pin of the first one is."""
    found: dict[str, str] = {}
    for pin in [*part.pins, *(str(k) for k in range(1, 4)), "@control", "@output", "@common"]:
        one, two = first_pins.get(part.pin(pin)), pins.get(part.pin(pin))
        if one in first.pins and two in other.pins and one is not None and two is not None:
            found.setdefault(first.pin(one), other.pin(two))
    # a pin that neither the notes nor the order of legs names keeps its place
    left = [pin for pin in first.pins if first.pin(pin) not in found]
    free = [pin for pin in other.pins if other.pin(pin) not in found.values()]
    found |= {first.pin(one): other.pin(two) for one, two in zip(left, free, strict=False)}
    return {one: two for one, two in found.items() if one != two}


def _value_doubt(part: NotedPart, circuit: Circuit) -> list[Doubt]:
    """Return the doubt about a value with a question mark: as written, or anything."""
    made = circuit.parts[part.name]
    if made.kind != "resistor":
        return []
    anything = made.model_copy(update={"unknown": made.unknown | {"ohms"}})
    answers = (
        Answer(label=f"{part.value} as noted", prior=0.7, parts={part.name: made}),
        Answer(label="another value", prior=0.3, parts={part.name: anything}),
    )
    question = f"is {part.name} {part.value}"
    return [
        Doubt(
            name=f"{part.name} ohms",
            about=About.VALUE,
            place=part.name,
            question=question,
            answers=answers,
            line=part.line,
        )
    ]


def contact_doubts(facts: Sequence[Fact], apart: Mapping[int, Apart]) -> tuple[Doubt, ...]:
    """Return a doubt for each contact that was expected and is not there: broken copper, or two nets."""
    found = []
    for fact in facts:
        if not isinstance(fact, Absent) or fact.line not in apart:
            continue
        side = apart[fact.line]
        two = Answer(
            label="two nets", prior=1 - EXPECTED_SHARE, apart=dict.fromkeys(side.terminals, side.net),
            without_copper=(copper_of(fact),),
        )  # fmt: skip
        found.append(
            Doubt(
                name=f"{fact.one} to {fact.other}", about=About.CONTACT, place=fact.one, line=fact.line,
                question=f"do {fact.one} and {fact.other} belong together",
                answers=(Answer(label="one net, broken", prior=EXPECTED_SHARE), two),
            )
        )  # fmt: skip
    return tuple(found)


def copper_of(fact: Absent) -> str:
    """Return the name of the copper that a contact that is absent would need."""
    return fact.via or f"{fact.one}-{fact.other}".replace(".", "_")

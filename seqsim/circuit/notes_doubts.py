"""The doubts that notes leave: what a part is, whether a contact is there, what stands behind a net."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from seqsim.circuit.doubts import BEYOND, About, Answer, Doubt
from seqsim.circuit.draft import CircuitErrors, Draft
from seqsim.circuit.model import OFF, Circuit
from seqsim.circuit.notes_facts import Absent, Fact
from seqsim.circuit.notes_parts import NotedPart, pin_maps
from seqsim.circuit.notes_words import ROLE_LETTERS, KindOption
from seqsim.circuit.read_parts import read_parts
from seqsim.circuit.source import Entries, Node, Text
from seqsim.parts import Part, Supply
from seqsim.parts.supply import ENTRY

LEAST_SHARE = 0.02
"""Answers that are less likely than the likeliest by this factor, before any reading, are left out."""
STEADY_CONTROL, IDLE_OUTPUT, ODD_FOLLOWER = 0.02, 0.05, 0.3
"""Factors on what makes little sense as a stage: a control pin tied to a supply or ground, an N-type's output on ground
or a P-type's on a supply, and a P-type's common pin on ground or an N-type's on a supply (our judgement)."""
EXPECTED_SHARE = 0.5
"""Chance that a contact that was expected and does not beep is there in the drawing, and broken (our judgement)."""
SIGNAL_OHMS = 100.0
"""Source resistance of what stands behind a net: the output of another stage (our judgement)."""
LEAST_LOGIC_VOLTS = 2.5
"""A signal is as high as the lowest supply above this, unless there is none (our judgement)."""
SIGNAL_SPREAD = 0.3
"""Standard deviation of that, as a share: nobody has seen the supply of what is not traced (our judgement)."""

_RAIL_NAME = re.compile(r"\+?(?:V_?(\d+)(?:[V_P](\d+))?|(\d+)V(\d*))")
CONTROLS = frozenset({"B", "G"})
LISTENS = frozenset({"A", "B", "C", "D", "EN", "FB", "SENSE", "MR", "INP", "INN", "IN", "VCC", "RAIL"})
"""Pins of chips that drive nothing."""
FEEDS = frozenset({"VCC", "IN", "RAIL"})
ALL_STATES = {
    "low": 0.25,
    "high": 0.3,
    "open": 0.2,
    "rises with the last state": 0.17,
    "falls with the last state": 0.08,
}
ONE_STATE = {"low": 1 / 3, "high": 1 / 3, "open": 1 / 3}
FED = {"high": 0.9, "low": 0.05, "open": 0.05}
"""What feeds a chip is there, as a rule (our judgement)."""


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


def upstream_doubts(circuit: Circuit, told: Mapping[str, bool], mentioned: Mapping[str, str]) -> tuple[Doubt, ...]:
    """Return a doubt for each net on which nothing that is traced decides.

    ``told`` says of nets whether they go on; ``mentioned`` names the pin of an undescribed part on a net.
    """
    states = [name for name in circuit.power_states if name != OFF]
    if not states:
        return ()
    found = []
    fed = {supply.net for supply in circuit.supplies.values()}
    for net, pins in circuit.nets().items():
        if net in circuit.grounds or net in fed or told.get(net) is False:
            continue
        if not (told.get(net) or net in mentioned or _undecided(circuit, pins)):
            continue
        named = volts_in(net)
        feeds = named is not None or all(pin.rpartition(".")[2] in FEEDS for pin in pins)
        shares = FED if feeds else ALL_STATES if len(states) > 1 else ONE_STATE
        volts = named or _logic_volts(circuit)
        name = BEYOND + net
        while name in circuit.supplies or name in circuit.parts:
            name += "_"
        answers = tuple(
            _behind(name, net, label, prior, volts, states, 0.03 if named else SIGNAL_SPREAD)
            for label, prior in sorted(shares.items(), key=lambda item: item[0] != "open")
        )
        place = mentioned.get(net, pins[0] if len(pins) == 1 else net)
        found.append(
            Doubt(
                name=net, about=About.UPSTREAM, place=place, question=f"what drives {net} from beyond",
                answers=answers, line=_line(circuit, pins),
            )
        )  # fmt: skip
    return tuple(found)


def volts_in(name: str) -> float | None:
    """Return the volts that the name of a rail tells: 5 of `V5`, `+5V` or `5V0`, 3.3 of `3V3` or `V3V3`."""
    found = _RAIL_NAME.fullmatch(name.upper().removesuffix("SB").removesuffix("_"))
    if found is None:
        return None
    whole, part = found[1] or found[3], found[2] or found[4] or "0"
    return float(f"{whole}.{part}") or None


def _undecided(circuit: Circuit, pins: Sequence[str]) -> bool:
    """Tell whether nothing that is traced gives a net a level: one loose pin, or pins that only listen."""
    if any(pin.endswith(ENTRY) for pin in pins):
        return False
    deciding = 0
    for pin in pins:
        name, _, letter = pin.rpartition(".")
        part = circuit.parts[name]
        kind = part.kind
        if kind in ("npn", "pnp", "nmos", "pmos", "npn_prebiased", "pnp_prebiased"):
            deciding += letter not in CONTROLS and len(pins) > 1
        elif kind == "capacitor":
            continue
        elif hasattr(part, "quiescent"):
            if letter not in LISTENS:
                return False
        else:
            deciding += len(pins) > 1
    others = [pin for pin in pins if circuit.parts[pin.rpartition(".")[0]].kind != "capacitor"]
    return not deciding or len(others) < 2


def _behind(
    name: str, net: str, label: str, prior: float, volts: float, states: Sequence[str], spread: float
) -> Answer:
    """Return one thing that may stand behind a net."""
    if label == "open":
        return Answer(label=label, prior=prior)
    on = {"low": (), "high": tuple(states), "rises with the last state": (states[-1],)}.get(label, tuple(states[:-1]))
    supply = Supply(name=name, net=net, volts=volts, spread=spread, ohms=SIGNAL_OHMS, idle="low")
    return Answer(label=label, prior=prior, supplies={name: supply}, applied={name: on})


def _logic_volts(circuit: Circuit) -> float:
    """Return how high a signal of this board is when high."""
    seen = sorted(supply.volts for supply in circuit.supplies.values())
    return next((volts for volts in seen if volts >= LEAST_LOGIC_VOLTS), seen[-1] if seen else 3.3)


def _line(circuit: Circuit, pins: Sequence[str]) -> int | None:
    return circuit.line("parts", pins[0].rpartition(".")[0]) if pins else None

"""The facts of notes put together: parts, nets and their names, supplies; what contradicts each other is an error."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from seqsim.circuit.draft import Draft
from seqsim.circuit.notes_facts import Absent, Contact, Extent, Fact, Ground, Named, PartNote, Supplied, Target
from seqsim.circuit.notes_nets import Joined, names_of
from seqsim.circuit.notes_parts import NotedPart, clash, noted_parts
from seqsim.circuit.notes_words import ROLE_LETTERS
from seqsim.errors import QuantityError
from seqsim.network import GROUND
from seqsim.quantity import Unit, parse_quantity

SAME_VOLTS = 0.03
"""Two notes of one supply agree within this share: two meters, two moments (our judgement)."""


@dataclass
class Noted:
    """All that was worked out from notes on the way to a circuit.

    ``moved`` gives, by line, the ends that lie apart if an absent contact was never there, and their net then.
    """

    facts: tuple[Fact, ...]
    parts: dict[str, NotedPart]
    joined: Joined
    supplies: dict[str, Supplied]
    net_of: dict[str, str] = field(default_factory=dict)
    aliases: dict[str, str] = field(default_factory=dict)
    moved: dict[int, tuple[tuple[str, ...], str]] = field(default_factory=dict)


def note(draft: Draft, facts: Sequence[Fact]) -> Noted:
    """Put facts together: parts, nets and their names, contradictions."""
    parts = noted_parts(draft, facts)
    joined = Joined()
    joined.add(GROUND)
    noted = Noted(tuple(facts), parts, joined, _supplies(draft, facts, joined))
    for fact in facts:
        _joins(noted, fact)
    for part in parts.values():
        for pin in part.pins:
            joined.add(f"{part.name}.{part.pin(pin)}")
    _one_net(draft, noted)
    noted.net_of, _ = _named(noted)
    _absent(draft, noted)
    noted.net_of, noted.aliases = _named(noted)
    return noted


def net_at(noted: Noted, end: str) -> str:
    """Return the net of an end; a name that no line put on a net stands for itself."""
    name, dot, pin = end.partition(".")
    if dot and name in noted.parts:
        end = f"{name}.{noted.parts[name].pin(pin)}"
    kept = noted.joined.end(end) if not dot else end
    return noted.net_of.get(kept, kept)


def kept_end(noted: Noted, end: str) -> str:
    """Return an end as it is kept: a pin of a part under the name of what it does."""
    name, dot, pin = end.partition(".")
    return f"{name}.{noted.parts[name].pin(pin)}" if dot and name in noted.parts else end


def _named(noted: Noted) -> tuple[dict[str, str], dict[str, str]]:
    shown = {
        f"{part.name}.{part.pin(pin)}": f"{part.name}.{_letter(part, pin)}"
        for part in noted.parts.values()
        for pin in part.pins
    }
    fed = {noted.joined.end(supply.values.get("net", name)): supply for name, supply in noted.supplies.items()}
    return names_of(noted.joined, fed, shown)


def _letter(part: NotedPart, pin: str) -> str:
    """Return a pin as a person would write it."""
    if pin.startswith("@"):
        return next((ROLE_LETTERS[o.kind][pin[1:]] for o in part.options if o.kind in ROLE_LETTERS), pin[1:])
    return pin


def _supplies(draft: Draft, facts: Sequence[Fact], joined: Joined) -> dict[str, Supplied]:
    """Return the supplies by name; a second note of one must agree."""
    found: dict[str, Supplied] = {}
    targets = {joined.end(fact.end) for fact in facts if isinstance(fact, Target)}
    for fact in facts:
        if not isinstance(fact, Supplied):
            continue
        name = joined.end(fact.name)
        if name == GROUND:
            draft.error("GND is always 0 V; name another supply", fact.line, place=GROUND)
            continue
        if name in targets and set(fact.values) == {"volts"}:
            message = f"{name} is the target, and no supply; write what it reads as: read {name} {fact.values['volts']}"
            draft.error(message, fact.line, place=name)
            continue
        before = found.get(name)
        if before is None:
            found[name] = fact
            continue
        one, other = before.values["volts"], fact.values["volts"]
        try:
            close = abs(parse_quantity(one, Unit.VOLT) - parse_quantity(other, Unit.VOLT)) <= SAME_VOLTS * abs(
                parse_quantity(one, Unit.VOLT)
            )
        except QuantityError:
            close = "?" in (one, other)
        if not close:
            clash(draft, fact, before, f"{name} is {one} or {other}", "keep the one that you measured last", name)
        values = {**before.values, **{key: text for key, text in fact.values.items() if text != "?"}}
        found[name] = Supplied(before.line, before.text, before.name, values)
    return found


def _joins(noted: Noted, fact: Fact) -> None:
    """Join the ends that a line makes one."""
    joined = noted.joined
    match fact:
        case PartNote():
            for pin, end in fact.pins.items():
                joined.join(kept_end(noted, f"{fact.name}.{pin}"), kept_end(noted, end), fact)
        case Contact():
            first, *others = (*fact.near, *fact.far)
            for other in others:
                joined.join(kept_end(noted, first), kept_end(noted, other), fact)
        case Absent():
            joined.add(kept_end(noted, fact.one))
            joined.add(kept_end(noted, fact.other))
        case Named():
            joined.join(kept_end(noted, fact.end), fact.name, fact)
        case Ground():
            joined.join(GROUND, fact.name, fact)
        case Target() | Extent():
            joined.add(kept_end(noted, fact.end))
        case Supplied():
            joined.add(fact.values.get("net", fact.name))


def _one_net(draft: Draft, noted: Noted) -> None:
    """Note supplies that contacts make one with each other, or with ground."""
    joined, supplies = noted.joined, noted.supplies
    fed = {name: joined.end(supply.values.get("net", name)) for name, supply in supplies.items()}
    names = [GROUND, *supplies]
    for k, one in enumerate(names):
        for other in names[k + 1 :]:
            first, second = fed.get(one, GROUND), fed[other]
            path = joined.path(first, second)
            if not path:
                continue
            last = max(path, key=lambda fact: fact.line)
            rest = [f" and line {fact.line}, '{fact.text}'," for fact in path if fact is not last][:3]
            what = "ground" if one == GROUND else f"supply {one} (line {supplies[one].line})"
            message = (
                f"'{last.text}'{''.join(rest)} make{'' if rest else 's'} {other} (line {supplies[other].line}, "
                f"'{supplies[other].text}') one with {what}; measure that contact again, or leave one line out"
            )
            draft.error(message, last.line, place=other)


def _absent(draft: Draft, noted: Noted) -> None:
    """Take contacts that are absent for broken ones, and note those that another line says are there."""
    fed = {GROUND, *(noted.joined.end(s.values.get("net", name)) for name, s in noted.supplies.items())}
    for fact in noted.facts:
        if not isinstance(fact, Absent):
            continue
        one, other = (noted.joined.end(kept_end(noted, end)) for end in (fact.one, fact.other))
        path = noted.joined.path(one, other)
        if path or one == other:
            lines = ", ".join(str(each.line) for each in path)
            what = f"{fact.one} and {fact.other} beep{f' by lines {lines}' if len(path) > 1 else ''}, and do not"
            later, first = (
                (path[-1], fact) if path and path[-1].line > fact.line else (fact, path[-1] if path else fact)
            )
            clash(draft, later, first, what, "measure again and keep one", fact.one)
            continue
        sides = [next(net for net in noted.joined.nets() if end in net) for end in (one, other)]
        if all(fed & set(side) for side in sides):
            continue  # two supplies that do not touch are two nets, whatever was expected
        side = sides[0] if fed & set(sides[1]) else sides[1]
        net = noted.net_of[side[0]]
        noted.joined.join(one, other, fact)
        noted.moved[fact.line] = (tuple(side), net)
        merged, _ = _named(noted)
        if merged[one] == net:
            rest = sides[1] if side is sides[0] else sides[0]
            noted.moved[fact.line] = (tuple(rest), noted.net_of[rest[0]])

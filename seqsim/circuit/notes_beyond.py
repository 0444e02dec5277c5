"""What lies beyond the ends of what is traced: nets on which nothing that is known decides, or one rail alone."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from seqsim.circuit.doubts import BEYOND, About, Answer, Doubt
from seqsim.circuit.model import OFF, Circuit
from seqsim.parts import Supply
from seqsim.parts.supply import ENTRY

SIGNAL_OHMS = 100.0
"""Source resistance of what stands behind a net: the output of another stage (our judgement)."""
LEAST_LOGIC_VOLTS = 2.5
"""A signal is as high as the lowest supply above this, unless there is none (our judgement)."""
SIGNAL_SPREAD = 0.3
"""Standard deviation of that, as a share: nobody has seen the supply of what is not traced (our judgement)."""

_RAIL_NAME = re.compile(r"\+?(?:V_?(\d+)(?:[V_P](\d+))?|(\d+)V(\d*))")
TRANSISTORS = frozenset({"npn", "pnp", "nmos", "pmos", "npn_prebiased", "pnp_prebiased"})
CONTROLS = frozenset({"B", "G"})
CONTROLLED = frozenset({"A", "B", "C", "D", "EN", "MR"})
"""Pins of chips that wait for a signal."""
HOLDING = frozenset({"resistor", "ferrite", "inductor", "load"})
"""Two-legged parts that give a net the level of what is behind them."""
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
HELD = {"open": 0.5, "rises with the last state": 0.15, "falls with the last state": 0.1}
"""What else may lie on a net that one rail alone holds through resistors: nothing (a strap), or what switches it; a
quarter is what pulls it the other way for good (our judgement)."""
FED = {"high": 0.9, "low": 0.05, "open": 0.05}
"""What feeds a chip is there, as a rule (our judgement)."""


def upstream_doubts(circuit: Circuit, told: Mapping[str, bool], mentioned: Mapping[str, str]) -> tuple[Doubt, ...]:
    """Return a doubt for each net on which nothing that is traced decides, or only what holds it at one rail.

    ``told`` says of nets whether they go on; ``mentioned`` names the pin of an undescribed part on a net.
    """
    states = [name for name in circuit.power_states if name != OFF]
    if not states:
        return ()
    nets = circuit.nets()
    fed = {supply.net for supply in circuit.supplies.values()}
    held: dict[str, str] = {}
    ends = [net for net in nets if net not in circuit.grounds and net not in fed and told.get(net) is not False]
    open_ends = {net for net in ends if told.get(net) or net in mentioned or _undecided(circuit, nets[net])}
    supplied = {supply.net: _steady(circuit, name) for name, supply in circuit.supplies.items()}
    for net in ends:
        reach = _reach(circuit, nets, supplied, net)
        if reach is not None and reach.feeds and not reach.rails - {*circuit.grounds}:
            open_ends.add(net)
    supplied |= {net: True for net in open_ends if _feeds(net, nets[net])}
    for net in ends:
        reach = _reach(circuit, nets, supplied, net)
        if reach is None or not reach.waits or reach.feeds or reach.nets & (open_ends | held.keys()):
            continue
        if any(told.get(other) is False for other in reach.nets) or len(reach.rails) > 1:
            continue
        if reach.rails:
            held[net] = next(iter(reach.rails))
        else:
            open_ends.add(net)
    return tuple(
        _upstream(circuit, net, nets[net], mentioned.get(net), held.get(net, ""))
        for net in ends
        if net in open_ends or net in held
    )


def _upstream(circuit: Circuit, net: str, pins: Sequence[str], mentioned: str | None, held: str) -> Doubt:
    """Return the doubt about what lies beyond a net; ``held`` is the rail that alone holds it, if one does."""
    states = [name for name in circuit.power_states if name != OFF]
    named = volts_in(net)
    volts, spread = named or _logic_volts(circuit), 0.03 if named else SIGNAL_SPREAD
    if held:
        shares = HELD | {"high" if held in circuit.grounds else "low": 1 - sum(HELD.values())}
        if len(states) == 1:
            shares = {label: share for label, share in shares.items() if "last" not in label}
        rail = [supply for supply in circuit.supplies.values() if supply.net == held]
        volts, spread = (rail[0].volts, rail[0].spread) if rail else (volts_in(held) or volts, spread)
    elif _feeds(net, pins):
        shares = FED
    else:
        shares = ALL_STATES if len(states) > 1 else ONE_STATE
    name = BEYOND + net
    while name in circuit.supplies or name in circuit.parts:
        name += "_"
    whole = sum(shares.values())
    answers = tuple(
        _behind(name, net, label, prior / whole, volts, states, spread)
        for label, prior in sorted(shares.items(), key=lambda item: item[0] != "open")
    )
    question = f"what lies on {net} beside what holds it at {held}" if held else f"what drives {net} from beyond"
    return Doubt(
        name=net, about=About.UPSTREAM, place=mentioned or (pins[0] if len(pins) == 1 else net), question=question,
        answers=answers, line=_line(circuit, pins), held=held,
    )  # fmt: skip


def _feeds(net: str, pins: Sequence[str]) -> bool:
    """Tell whether a net that is not traced is a rail: by its name, or because it feeds chips alone."""
    return volts_in(net) is not None or all(pin.rpartition(".")[2] in FEEDS for pin in pins)


@dataclass(frozen=True)
class _Reach:
    """What resistors join to a net: nets, rails, whether a pin waits for a signal, or feeds a chip."""

    nets: set[str]
    rails: set[str]
    waits: bool
    feeds: bool


def _reach(
    circuit: Circuit, nets: Mapping[str, Sequence[str]], supplied: Mapping[str, bool], net: str
) -> _Reach | None:
    """Return what resistors alone join to a net; None if anything else is there that may give it a level.

    ``supplied`` says of nets with a supply whether they are steady: one that comes and goes between the power states,
    or whose source is weak, is a signal and no rail. The target waits for a signal by itself.
    """
    group, rails, waits, feeds = {net}, set(), net == circuit.target, False
    todo = [net]
    while todo:
        at = todo.pop()
        for pin in nets[at]:
            name, _, letter = pin.rpartition(".")
            part = circuit.parts[name]
            if part.kind in HOLDING and set(part.pins) == {"1", "2"}:
                for other in set(part.pins.values()) - group:
                    if other in circuit.grounds or supplied.get(other):
                        rails.add(other)
                    elif other in supplied:
                        return None
                    else:
                        group.add(other)
                        todo.append(other)
            elif letter in (CONTROLS if part.kind in TRANSISTORS else CONTROLLED if hasattr(part, "quiescent") else ()):
                waits = True
            elif hasattr(part, "quiescent") and letter in FEEDS:
                feeds = feeds or at == net
            elif part.kind != "capacitor":
                return None
    return _Reach(group, rails, waits, feeds)


def _steady(circuit: Circuit, name: str) -> bool:
    """Tell whether a supply is a rail: there in every power state, and no weak source."""
    supply = circuit.supplies[name]
    always = all(name in state.on for state in circuit.power_states.values() if state.name != OFF)
    return always and supply.idle == "open" and supply.ohms < SIGNAL_OHMS


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
        if kind in TRANSISTORS:
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

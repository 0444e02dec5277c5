"""Why SPICE and the switch level differ at a node, each cause tried before it is named.

A cause is named only if the two agree, or nearly so, once it is taken away: with a meter on the node, with a rule
forced to the other side, from another start, with a device that has no more than the plain laws. What no trial
explains is left to the straight pieces that stand for the laws.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np

from seqsim.circuit import Circuit, state_gates
from seqsim.errors import SpiceFailedError
from seqsim.network import Bridge, Network, Patch, SetSide, vary
from seqsim.network.network import Bools, Floats
from seqsim.parts import Part
from seqsim.parts.bipolar import Bipolar
from seqsim.parts.laws import JUNCTION_ANCHORS
from seqsim.parts.model_error import laws_of
from seqsim.parts.mosfet import Mosfet
from seqsim.parts.wiring import ModelWriter, model_line
from seqsim.quantity import Unit, format_quantity
from seqsim.solver import FLOATING_OHMS, Levels, Steadiness, currents, solve_variant, static_gates
from seqsim.solver.plain import all_on
from seqsim.solver.sensitivity import node_impedance, sensitivities
from seqsim.solver.system import flatten
from seqsim.spice.compare import Comparison
from seqsim.spice.deck import NEWTON, write_deck
from seqsim.spice.engine import Engine

LEFT = 0.4
"""Share of a difference that may be left where a cause was taken away."""
MARGIN_VOLTS = 0.15
"""A threshold that a node comes this close to is decided by details of the laws."""
SATURATED_VOLTS = 0.3
"""A bipolar transistor with less between collector and emitter is saturated."""
SLOPE_VOLTS = 0.02
"""SPICE's rules go from one side to the other within about this of their threshold."""
METER_OHMS = 10e6
DRAIN_OHMS = 1e5
"""A floating node that this takes to ground in both worlds is set by leakage, if by more than a meter draws."""
MOST_ROWS = 12
"""Rows near their thresholds that are tried one by one."""
DIODES = re.compile("junction|clamp|body diode")
PIECES = "straight pieces in place of the laws"


@dataclass(frozen=True)
class Asked:
    """The board that was compared, to be asked again."""

    engine: Engine
    circuit: Circuit
    network: Network
    state: str
    patches: tuple[Patch, ...]
    write_model: ModelWriter = model_line

    def again(self, levels: Levels, more: tuple[Patch, ...]) -> Levels | None:
        """Return the switch level's answer with more patches, from where it stands; None if it does not settle."""
        variant = vary(self.network, (*self.patches, *more))
        start = levels.state
        added = len(variant.port_of) - len(levels.system.variant.port_of)
        conducting = np.append(start.conducting, np.zeros(added, dtype=np.bool_))
        found = solve_variant(variant, self.static, replace(start, conducting=conducting))
        return found if found.steadiness is Steadiness.STEADY else None

    @property
    def static(self) -> Bools:
        """Gates (g,) of the power state."""
        return static_gates(self.network, state_gates(self.circuit, self.state))

    def spice(self, both: Comparison, write_model: ModelWriter, lines: tuple[str, ...] = ()) -> Floats | None:
        """Return SPICE's volts near those that it found, with other models or more lines; None if it finds none."""
        deck = write_deck(
            self.circuit, state_gates(self.circuit, self.state), self.patches,
            network=self.network, write_model=write_model,
        )  # fmt: skip
        near = {node: float(both.spice[k]) for k, node in deck.nodes.items()}
        try:
            found = self.engine.run(replace(deck, lines=deck.lines + lines).operating_point(near, NEWTON))
        except SpiceFailedError:
            return None
        volts = np.full(len(both.spice), np.nan)
        for k, node in deck.nodes.items():
            volts[k] = found.get(node, 0.0)
        return volts


def causes(asked: Asked, both: Comparison, above: float) -> dict[int, str]:
    """Return why nodes differ by more than ``above`` (V), in a few words for each."""
    with np.errstate(invalid="ignore"):
        differ = np.flatnonzero(np.abs(both.difference) > above).tolist()
    found: dict[int, str] = {}
    for trial in (_rules, _other_start, _too_little_current, _devices):
        left = [k for k in differ if k not in found]
        if left:
            found |= trial(asked, both, left)
    left = [k for k in differ if k not in found]
    return found | (_pieces(asked, both, left) if left else {})


def floating_inputs(levels: Levels, above: float = FLOATING_OHMS) -> list[int]:
    """Return the rule rows that sense a node which nothing drives through less than ``above`` (Ω)."""
    variant, rows = levels.system.variant, levels.system.variant.rows
    impedance = np.diag(node_impedance(levels))
    senses = (impedance[rows.rise_at] > above) & (rows.rise_at >= 0) & (rows.rise_weight != 0)
    return [int(k) for k in np.flatnonzero(senses.any(axis=1) & (variant.side_force < 0))]


def _explained(both: Comparison, other: Levels | None, nodes: Iterable[int], *, between: bool = False) -> list[int]:
    """Return the nodes at which another answer of the switch level is SPICE's, or has it ``between`` the two."""
    if other is None:
        return []
    kept = []
    for k in nodes:
        before, after, spice = (float(v[k]) for v in (both.levels.volts, other.volts, both.spice))
        inside = min(before, after) <= spice <= max(before, after)
        if abs(spice - after) < LEFT * abs(spice - before) or (between and inside):
            kept.append(k)
    return kept


def _pieces(asked: Asked, both: Comparison, nodes: list[int]) -> dict[int, str]:
    """Tell of what no trial explains whether the measured errors of the laws would do as much, and whose most."""
    overload = _overloaded(asked, both)
    knobs = tuple(knob for _, knob in laws_of(asked.network))
    if overload or not knobs:
        return dict.fromkeys(nodes, PIECES + overload)
    felt = sensitivities(both.levels, node_impedance(both.levels), knobs)
    found = {}
    for k in nodes:
        most = knobs[int(np.argmax(np.abs(felt[k])))]
        enough = 2 * float(np.linalg.norm(felt[k])) > abs(both.difference[k])
        found[k] = f"{PIECES}: the {most.name} of {most.owner} decides" if enough else PIECES
    return found


def _overloaded(asked: Asked, both: Comparison) -> str:
    """Name the part whose diodes carry most beyond what their chords are made for, if one does."""
    variant = both.levels.system.variant
    ported = {hinge: len(variant.network.owners) + port for port, hinge in enumerate(variant.port_of.tolist())}
    amps = np.abs(currents(both.levels))
    found = {
        owner: sum(float(amps[ported.get(k, k)]) for k in hinges if DIODES.search(variant.network.roles[k]))
        for owner, hinges in variant.network.hinges_of.items()
    }
    shares = {name: found[name] / max(JUNCTION_ANCHORS[-1], getattr(part, "amps", None) or 0.0)
              for name, part in asked.circuit.parts.items() if name in found}  # fmt: skip
    worst = max(shares, key=lambda name: shares[name], default="")
    if not worst or shares[worst] < 1:
        return ""
    return f": {worst} carries {format_quantity(found[worst], Unit.AMPERE, 2)}, beyond its rating"


def _rules(asked: Asked, both: Comparison, nodes: list[int]) -> dict[int, str]:
    """Force rules to the sides on which SPICE has them, or which they are close to."""
    elsewhere, close = _suspects(both)
    found: dict[int, str] = {}
    trials = [[row] for row in elsewhere[:MOST_ROWS]] + ([elsewhere] if len(elsewhere) > 1 else [])
    for rows in (*trials, *([row] for row in close[:MOST_ROWS])):
        left = [k for k in nodes if k not in found]
        if not left:
            break
        other = asked.again(both.levels, tuple(_forced(asked.network, both.levels, row) for row in rows))
        explained = _explained(both, other, left, between=True)
        if explained and other is not None:
            text = _rule_text(asked, both, rows, other, explained[0])
            found |= dict.fromkeys(explained, text)
    return found | _on_a_slope(asked, both, [k for k in nodes if k not in found])


def _on_a_slope(asked: Asked, both: Comparison, nodes: list[int]) -> dict[int, str]:
    """Name the row at whose threshold SPICE stands, half way between its sides, and the switch level does not."""
    level, spice, _ = _sensed(both)
    variant = both.levels.system.variant
    inside = (spice > variant.rows.falling[0] - SLOPE_VOLTS) & (spice < variant.rows.rising[0] + SLOPE_VOLTS)
    slope = (variant.side_force < 0) & inside & (np.abs(level - spice) > SLOPE_VOLTS)
    for row in np.flatnonzero(slope)[:1]:
        owner, name = asked.network.row_owners[row], asked.network.row_names[row]
        return dict.fromkeys(nodes, f"a threshold within its margin: {owner} {name}, between whose sides SPICE stands")
    return {}


def _forced(network: Network, levels: Levels, row: int) -> SetSide:
    return SetSide(network.row_owners[row], network.row_names[row], not levels.state.above[row])


def _sensed(both: Comparison) -> tuple[Floats, Floats, Floats]:
    """Return what each rule row senses at the switch level and in SPICE, and the middle of its thresholds (V)."""
    rows = both.levels.system.variant.rows
    at, weight = rows.rise_at, rows.rise_weight
    level, spice = ((weight * volts[at]).sum(axis=1) for volts in (both.levels.volts, np.append(both.spice, 0.0)))
    return level, spice, (rows.rising[0] + rows.falling[0]) / 2


def _suspects(both: Comparison) -> tuple[list[int], list[int]]:
    """Return the rows that stand on the other side in SPICE, and those that are close to their thresholds."""
    level, spice, middle = _sensed(both)
    free = both.levels.system.variant.side_force < 0
    above = both.levels.state.above
    elsewhere = free & np.isfinite(spice) & (above != (spice > middle))
    distance = np.fmin(np.abs(level - middle), np.abs(spice - middle))
    close = free & ~elsewhere & (distance < MARGIN_VOLTS)
    order = np.argsort(distance)
    return [int(k) for k in order if elsewhere[k]], [int(k) for k in order if close[k]]


def _rule_text(asked: Asked, both: Comparison, rows: list[int], forced: Levels, node: int) -> str:
    network = asked.network
    names = ", ".join(f"{network.row_owners[row]} {network.row_names[row]}" for row in rows[:3])
    if set(rows) & set(floating_inputs(both.levels)):
        return f"an input that floats: {names}"
    released = solve_variant(vary(network, asked.patches), asked.static, forced.state)
    if released.steadiness is Steadiness.STEADY and _explained(both, released, [node]):
        return f"another stable state: {names}"
    level, spice, middle = _sensed(both)
    if min(min(abs(level[row] - middle[row]), abs(spice[row] - middle[row])) for row in rows) < MARGIN_VOLTS:
        return f"a threshold within its margin: {names}"
    return f"on the other side of its threshold: {names}"


def _other_start(asked: Asked, both: Comparison, nodes: list[int]) -> dict[int, str]:
    """Solve the switch level from everything off and from everything on; let SPICE hold the switch level's answer."""
    variant = vary(asked.network, asked.patches)
    for start in (None, all_on(flatten(variant, 0))):
        other = solve_variant(variant, asked.static, start)
        if other.steadiness is Steadiness.STEADY and (explained := _explained(both, other, nodes)):
            return dict.fromkeys(explained, "another stable state: the start decides")
    if both.parked is not None:
        return {
            k: "the switch level stands at the unstable point that SPICE left"
            for k in nodes
            if abs(both.parked[k] - both.levels.volts[k]) < LEFT * abs(both.difference[k])
        }
    volts = asked.spice(replace(both, spice=both.levels.volts[:-1]), asked.write_model)
    return {
        k: "another stable state: SPICE holds the switch level's as well"
        for k in nodes
        if volts is not None and abs(volts[k] - both.levels.volts[k]) < LEFT * abs(both.difference[k])
    }


def _too_little_current(asked: Asked, both: Comparison, nodes: list[int]) -> dict[int, str]:
    """Hang a meter on the node in both worlds: what only leakage or a junction far below 1 µA sets goes away."""
    names = {both.deck.nodes[k]: k for k in nodes}
    places = {names[node]: (place, node) for place, node in both.deck.places.items() if node in names}
    floating = np.diag(node_impedance(both.levels)) > FLOATING_OHMS
    found: dict[int, str] = {}
    for k, (place, node) in sorted(places.items(), key=lambda item: not floating[item[0]]):
        for ohms, text in ((METER_OHMS, ", and with a meter on it both agree"), (DRAIN_OHMS, "")):
            if k in found or (ohms < METER_OHMS and not floating[k]):
                continue
            level = asked.again(both.levels, (Bridge(_label(asked, both, k, place), "GND", 1 / ohms),))
            if level is None:
                continue
            meter = (f"Rmeter {node} 0 {ohms!r}",)
            volts = asked.spice(both, asked.write_model, meter)
            if volts is None:
                volts = asked.spice(replace(both, spice=level.volts[: len(both.spice)]), asked.write_model, meter)
            if volts is None:
                continue
            gone = np.abs(volts - level.volts[: len(volts)]) < LEFT * np.abs(both.difference)
            if gone[k]:
                found |= {n: f"{place} floats: leakage decides" for n in nodes if gone[n] and n not in found}
                found[k] = f"nothing drives it: leakage decides{text}"
    return found


def _label(asked: Asked, both: Comparison, node: int, place: str) -> str:
    """Return the place of a node in patches: a cut-off piece goes by its whole label."""
    own = len(asked.network.node_names)
    return place if node < own else both.levels.system.variant.stubs[node - own]


def _devices(asked: Asked, both: Comparison, nodes: list[int]) -> dict[int, str]:
    """Give devices no more than the plain laws in SPICE: all of them, then one at a time."""
    if asked.write_model is model_line:
        return {}
    plain = asked.spice(both, model_line)
    if plain is None:
        return {}
    left = [k for k in nodes if abs(plain[k] - both.levels.volts[k]) < LEFT * abs(both.difference[k])]
    if not left:
        return {}
    found: dict[int, str] = {}
    fall: dict[int, float] = dict.fromkeys(left, 0.0)
    for part, volts in _one_plain(asked, both):
        for k in left:
            gone = abs(float(both.spice[k] - volts[k]))
            if gone > max(fall[k], abs(both.difference[k]) / 3):
                fall[k], found[k] = gone, _device_text(part, both)
    return {k: found.get(k, "what full device models add, in several devices together") for k in left}


def _one_plain(asked: Asked, both: Comparison) -> Iterator[tuple[Part, Floats]]:
    for number, part in enumerate(asked.circuit.parts.values(), start=1):
        written = []

        def write(name: str, kind: str, parameters: Mapping[str, float], tag: int = number) -> str:
            mine = int(re.sub(r"\D", "", name) or -1) == tag
            written.append(mine)  # noqa: B023 - used within this turn of the loop
            return model_line(name, kind, parameters) if mine else asked.write_model(name, kind, parameters)

        volts = asked.spice(both, write)
        if any(written) and volts is not None:
            yield part, volts


def _device_text(part: Part, both: Comparison) -> str:
    variant, padded = both.levels.system.variant, np.append(both.spice, 0.0)

    def at(pin: str) -> float:
        return float(padded[variant.node(part.pin(pin))])

    if isinstance(part, Bipolar):
        saturated = abs(at("C") - at("E")) < SATURATED_VOLTS
        droop = f"beta droop: gain of {part.name}, neither cut off nor saturated"
        return f"saturation voltage of {part.name}" if saturated else droop
    if isinstance(part, Mosfet):
        return f"channel of {part.name}: what its full model adds"
    return f"full model of {part.name}"

"""Something at a place."""

from __future__ import annotations

import math

import numpy as np

from seqsim.circuit import Circuit, compile_network, state_gates
from seqsim.faults import PlaceHypothesis, single_faults, something_at
from seqsim.network import GROUND, Bridge, Effect, Move, Turn, vary
from seqsim.solver import Steadiness, solve


def at(circuit: Circuit, place: str) -> PlaceHypothesis:
    """Return the hypothesis of a place."""
    return next(found for found in something_at(circuit) if found.place == place)


def test_every_part_net_and_supply_has_one(library: Circuit) -> None:
    """Each part, net and supply is a place once; ground is none."""
    places = [found.place for found in something_at(library)]
    assert len(places) == len(set(places))
    assert set(places) == (set(library.parts) | set(library.nets()) | set(library.supplies)) - {GROUND}


def test_weights_add_up(library: Circuit) -> None:
    """Modes of a place add up to one; a package counts as one place."""
    found = something_at(library)
    for hypothesis in found:
        assert math.isclose(sum(mode.weight for mode in hypothesis.modes), 1.0)
        assert hypothesis.place in hypothesis.places
    packages = {part.package or name for name, part in library.parts.items()}
    parts = sum(hypothesis.weight for hypothesis in found if hypothesis.place in library.parts)
    assert math.isclose(parts, len(packages))


def test_patches_fit_the_network(library: Circuit) -> None:
    """Every mode can be applied, with all its severities in one variant."""
    network = compile_network(library)
    for hypothesis in something_at(library):
        names = [mode.name for mode in hypothesis.modes]
        assert len(names) == len(set(names)), hypothesis.place
        for mode in hypothesis.modes:
            points = 1.0 if mode.severity is None else mode.severity.points(5)
            variant = vary(network, mode.patches(points))
            assert variant.severities == (1 if mode.severity is None else 5)
            assert np.isfinite(variant.ports.conductance).all()


def test_no_array_moves_a_threshold_of_a_rule(library: Circuit) -> None:
    """A rule has one threshold for all severities, so modes that move one have no severity."""
    network = compile_network(library)
    for hypothesis in something_at(library):
        for mode in hypothesis.modes:
            turns = [patch for patch in mode.patches(1.0) if isinstance(patch, Turn)]
            rows = [t for p in turns for t in network.knobs[p.owner, p.knob].turned if t.effect is Effect.ROW]
            assert mode.severity is None or not rows


def test_every_knob_is_turned(library: Circuit) -> None:
    """Whatever a part has that spreads can also be far off."""
    network = compile_network(library)
    turned = {
        (patch.owner, patch.knob)
        for hypothesis in something_at(library)
        for mode in hypothesis.modes
        for patch in mode.patches(1.0)
        if isinstance(patch, Turn)
    }
    assert turned == {key for key, knob in network.knobs.items() if knob.turned}


def test_a_transistor_can_be_anything(flap: Circuit) -> None:
    """Each pair of terminals, each pin in series, gain and junction, terminals to ground and supplies."""
    modes = {mode.name: mode for mode in at(flap, "Q1").modes}
    assert {"B to C", "B to E", "C to E", "in series with B", "in series with C", "in series with E"} <= modes.keys()
    assert {"gain", "junction", "C to V12", "C to V5"} <= modes.keys()
    pairs = [modes[name].weight for name in ("B to C", "B to E", "C to E")]
    assert math.isclose(sum(pairs), modes["gain"].weight)
    outside = sum(mode.weight for name, mode in modes.items() if name.endswith((" to V5", " to V12")))
    assert math.isclose(outside, 0.15 * modes["gain"].weight)


def test_series_resistance_stands_in_the_joint(flap: Circuit) -> None:
    """A pin in series moves to a node of its own and comes back to its pad through the resistance."""
    mode = next(mode for mode in at(flap, "R3").modes if mode.name == "in series with 1")
    move, bridge = mode.patches(100.0)
    assert isinstance(move, Move)
    assert isinstance(bridge, Bridge)
    assert move.joint
    variant = vary(compile_network(flap), (move, bridge))
    ends = set(variant.ports.sense_at[-1][:2].tolist())
    assert ends == {variant.node("R3.1"), variant.node("R3.1/pad")}
    assert variant.ports.conductance[0, -1] == 0.01


def test_a_gate_threshold_goes_from_bottom_to_top(flap: Circuit) -> None:
    """The threshold of a gate is tried across 1 to 99 % of its supply."""
    gate = flap.parts["U5"]
    falling, rising, _ = gate.thresholds()  # type: ignore[attr-defined]
    turns = [patch for mode in at(flap, "U5").modes for patch in mode.patches(1.0) if isinstance(patch, Turn)]
    shares = [((falling + rising) / 2 + float(t.value)) / 5.0 for t in turns if t.knob == "threshold"]
    assert len(shares) == 12
    assert 0.01 < min(shares) < 0.1
    assert 0.9 < max(shares) < 0.99


def test_nets_touch_each_other_only_if_asked(flap: Circuit) -> None:
    """Contacts between signal nets are an option."""
    names = {mode.name for mode in at(flap, "EN").modes}
    assert names == {"to GND", "to V12", "to V5"}
    wide = next(found for found in something_at(flap, between_nets=True) if found.place == "EN")
    assert "to OUT" in {mode.name for mode in wide.modes}


def test_a_signal_and_its_net_are_one_place(flap: Circuit) -> None:
    """A supply that has the name of its net is not counted twice."""
    start = at(flap, "START")
    assert {"to GND", "volts", "ohms"} <= {mode.name for mode in start.modes}


def test_nothing_at_a_place_becomes_a_source(flap: Circuit) -> None:
    """However far a part is off, no net leaves the span of the supplies: all but supplies stay passive.

    The span is that of the 12 V supply, with a junction's 0.7 V below ground for nets that a clamp holds there.
    """
    network, gates = compile_network(flap), state_gates(flap, "running")
    for hypothesis in something_at(flap):
        if hypothesis.place in flap.supplies:
            continue
        for mode in hypothesis.modes:
            for severity in (1.0,) if mode.severity is None else mode.severity.points(5):
                levels = solve(network, mode.patches(severity), gates)
                assert levels.steadiness is not Steadiness.FAILED
                volts = levels.volts[: network.nets]
                assert volts.max() <= 12.001, (hypothesis.place, mode.name, severity)
                assert volts.min() >= -0.7, (hypothesis.place, mode.name, severity)


def test_every_fault_has_levels(flap: Circuit) -> None:
    """Each single fault, at the ends of its severity, gives levels or an oscillation."""
    network, gates = compile_network(flap), state_gates(flap, "running")
    for fault in single_faults(flap):
        for severity in (1.0,) if fault.severity is None else fault.severity.points(12)[[0, -1]]:
            assert solve(network, fault.patches(severity), gates).steadiness is not Steadiness.FAILED, fault.name

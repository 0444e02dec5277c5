"""Rules of the circuit file: held by a board that keeps them, broken, with the moment, by one that does not."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from rail_pair import CHAIN

from seqsim.circuit import Circuit
from seqsim.sequence import power_up
from seqsim.sequence.result import RuleCheck


def check(circuit_of: Callable[[str], Circuit], rule: str, *changes: tuple[str, str], draws: int = 0) -> RuleCheck:
    text = CHAIN
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    (found,) = power_up("chain", circuit_of(f"{text}rules:\n  - {rule}\n"), draws=draws).rules
    return found


SLOW_U2 = ("volts: 3.3, start_delay: 1ms", "volts: 3.3, start_delay: 30ms")


@pytest.mark.parametrize(
    ("rule", "held"),
    [
        ("{before: [V5, V3], by: [1ms, 10ms]}", True),
        ("{before: [V5, V3], by: [5ms, 10ms]}", False),
        ("{before: [V3, V5], by: [0s, 10ms]}", False),
        ("{before: [V5, RESET], by: [10ms, 50ms]}", True),
        ("{rises: V5, in: [1ms, 3ms]}", True),
        ("{rises: V5, in: [3ms, 9ms]}", False),
        ("{monotonic: V5}", True),
        ("{never_above: [V3, V5], by: 0.3V}", True),
        ("{never_above: [V5, V3], by: 0.5V}", False),
        ("{off: V3, within: 100ms}", True),
        ("{off: V3, within: 1us}", False),
    ],
)
def test_rules(circuit_of: Callable[[str], Circuit], rule: str, held: bool) -> None:  # noqa: FBT001
    """Each kind of rule is judged on the nominal board."""
    found = check(circuit_of, rule)
    assert found.holds is held
    assert (found.at is None) is held
    assert bool(found.why) is not held


def test_moment_of_a_break(circuit_of: Callable[[str], Circuit]) -> None:
    """A rail that comes too late breaks its rule at the end of the window."""
    found = check(circuit_of, "{before: [V5, V3], by: [0s, 10ms]}", SLOW_U2)
    assert not found.holds
    assert found.at == pytest.approx(20e-3 + 1e-3 + 1.9e-3 + 10e-3, rel=0.05)
    assert "after 3" in found.why


def test_follower_that_never_comes(circuit_of: Callable[[str], Circuit]) -> None:
    """A second rail that never comes breaks the rule when its time is over."""
    circuit = circuit_of(f"{CHAIN}rules:\n  - {{before: [V5, V3], by: [0s, 10ms]}}\n")
    (found,) = power_up("chain", circuit, ["U2:no output"], draws=0).rules
    assert not found.holds
    assert "did not follow" in found.why


def test_rise_that_falls_back(circuit_of: Callable[[str], Circuit]) -> None:
    """A rail that sags while it rises is not monotonic: a second load is switched onto it half-way."""
    load = (
        "rails:",
        """\
  U9: {kind: load_switch, on_ohms: 0.5, enable_threshold: 2V, pins: {IN: V5, OUT: X, EN: V5, GND: GND}}
  C9: {kind: capacitor, farads: 100u, pins: [X, GND]}
  LD9: {kind: load, ohms: 1k, pins: [X, GND]}
rails:""",
    )
    weak = ("volts: 5, start_delay: 1ms", "volts: 5, amps: 0.3, start_delay: 1ms")
    found = check(circuit_of, "{monotonic: V5}", load, weak)
    assert not found.holds
    assert "fell back" in found.why


def test_spreads(circuit_of: Callable[[str], Circuit]) -> None:
    """A window that the nominal board meets in its middle is kept on all boards, one at its edge on some."""
    wide = check(circuit_of, "{before: [V5, V3], by: [1ms, 10ms]}", draws=16)
    assert wide.broken == 0
    middle = 1e-3 + 1.9e-3 + 0.06e-3
    edge = check(circuit_of, f"{{before: [V5, V3], by: [{middle}s, 10ms]}}", draws=16)
    assert edge.broken is not None
    assert 0.1 < edge.broken < 0.9

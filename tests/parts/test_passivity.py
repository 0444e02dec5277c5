"""No discrete part ever gives energy: at any voltages, with any knob turned, it takes power or none."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from single_part import NAME, currents, network, part, power

from seqsim.network import Effect, Patch, Turn
from seqsim.parts import KINDS, Part
from seqsim.parts.chip import Chip

SAMPLES: list[tuple[str, dict[str, Any]]] = [
    (kind, {"model": model} | ({"volts": 5.1} if values.get("type") == "zener" else {}))
    for kind, family in KINDS.items()
    if not issubclass(family, Chip)
    for model, values in [*family.models.items(), (None, {})]
] + [
    ("diode", {"dual": "common-anode"}),
    ("diode", {"dual": "common-cathode", "model": "schottky-small"}),
    ("diode", {"dual": "series", "type": "zener", "volts": 3.3}),
    ("load", {"ohms": 100.0}),
    ("load", {"ohms": 1e4, "pins": {"PIN": "PIN", "RAIL": "RAIL", "GND": "GND"}}),
    ("load", {"amps": 1e-3, "pins": {"PIN": "PIN", "RAIL": "RAIL", "GND": "GND"}}),
    ("switch", {"closed": True}),
]
"""Every discrete family and device type, and what their values can make of them."""

volts = st.floats(-15, 15)


def check(what: Part, at: Mapping[str, float], patches: tuple[Patch, ...] = ()) -> None:
    """Currents add up to zero and the power taken is not negative, but for rounding."""
    drawn = currents(what, at, patches=patches)
    size = sum(abs(amps) for amps in drawn.values())
    assert abs(sum(drawn.values())) <= 1e-9 * size + 1e-12
    assert power(drawn, at) >= -1e-9 * size - 1e-12


@pytest.mark.parametrize(("kind", "values"), SAMPLES)
@settings(max_examples=60, deadline=None)
@given(data=st.data())
def test_takes_power_at_any_voltage(kind: str, values: dict[str, Any], data: st.DataObject) -> None:
    """Σ v·i ≥ 0 at the pins of the part alone, and no current is lost in it."""
    what = part(kind, **values)
    check(what, {net: data.draw(volts) for net in what.pins.values()})


@pytest.mark.parametrize(("kind", "values"), SAMPLES)
@settings(max_examples=40, deadline=None)
@given(data=st.data())
def test_takes_power_whatever_its_knobs_say(kind: str, values: dict[str, Any], data: st.DataObject) -> None:
    """A part stays passive when its knobs stand away from their neutral: factors up to 30, shifts up to 0.3 V.

    A shift downwards stays within the threshold of the softest part, a large Schottky diode: 0.03 V.
    """
    what = part(kind, **values)
    patches = []
    for (_, name), knob in network(what).knobs.items():
        shift = any(turned.effect is Effect.SHIFT for turned in knob.turned)
        amount = st.floats(-0.03, 0.3) if shift else st.floats(1 / 30, 30)
        patches.append(Turn(NAME, name, data.draw(amount)))
    check(what, {net: data.draw(volts) for net in what.pins.values()}, tuple(patches))


@settings(max_examples=100, deadline=None)
@given(st.floats(-5, 5), st.floats(-5, 5), st.floats(-5, 5), st.floats(0.5, 3.0))
def test_a_part_without_bias_carries_nothing(base: float, spread: float, other: float, shift: float) -> None:
    """Pins at one voltage carry no current, whatever that voltage is."""
    for kind in ("npn", "pnp", "nmos", "pmos"):
        what = part(kind)
        level = base + spread + other + shift
        assert currents(what, dict.fromkeys(what.pins.values(), level)) == pytest.approx(
            dict.fromkeys(what.pins.values(), 0.0), abs=1e-12
        )

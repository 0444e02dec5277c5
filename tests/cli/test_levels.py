"""`seqsim levels`."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import seqsim

Shell = Callable[[str], Any]


def test_divider(shell: Shell, divider: Path) -> None:
    """Two equal resistors halve 10 V; the supply's 2 % alone makes ±1.645 · 0.1 V of it."""
    fields = json.loads(shell(f"levels {divider} --json").out)
    middle = fields["nodes"]["MID"]
    assert middle["volts"] == pytest.approx(5.0, abs=1e-3)
    assert 4.8 < middle["low"] < 4.9
    assert 5.1 < middle["high"] < 5.2
    assert middle["condition"] == "driven"


def test_documented_fields(shell: Shell, divider: Path) -> None:
    """The fields are those that programs rely on, and the state is the last one unless another is asked for."""
    fields = json.loads(shell(f"levels {divider} --json").out)
    assert fields.keys() >= {"schema", "circuit", "state", "faults", "condition", "nodes", "other_states"}
    assert (fields["schema"], fields["state"], fields["faults"]) == (1, "on", [])
    assert (fields["condition"], fields["other_states"]) == ("steady", [])
    assert fields["nodes"]["MID"].keys() == {"volts", "low", "high", "condition"}


def test_states_and_faults(shell: Shell, divider: Path) -> None:
    """`off` and a state without supply are at 0 V; an open resistor to ground leaves the middle at the supply."""
    for state in ("off", "idle"):
        fields = json.loads(shell(f"levels {divider} --state {state} --json").out)
        assert fields["nodes"]["MID"]["volts"] == pytest.approx(0.0, abs=1e-6)
    fields = json.loads(shell(f"levels {divider} --fault R2:open --json").out)
    assert fields["faults"] == ["R2:open"]
    assert fields["nodes"]["MID"]["volts"] == pytest.approx(10.0, abs=1e-3)


def test_faults_add_up(shell: Shell, divider: Path) -> None:
    """Repeated options are several faults at once; a severity is taken as written: 30 kΩ above 10 kΩ is 2.5 V."""
    fields = json.loads(shell(f"levels {divider} -f 'R1:high x3' --json").out)
    assert fields["nodes"]["MID"]["volts"] == pytest.approx(2.5, abs=1e-3)
    fields = json.loads(shell(f"levels {divider} -f 'R1:high x3' -f 'R2:high x3' --json").out)
    assert fields["nodes"]["MID"]["volts"] == pytest.approx(5.0, abs=1e-3)


def test_cut_off_pin_is_a_node_that_floats(shell: Shell, divider: Path) -> None:
    """A net that only an open joint leaves behind floats and is said to; the lifted pin is listed by its name."""
    fields = json.loads(shell(f"levels {divider} -f 'R1.2:joint open' -f R2:open --json").out)
    assert fields["nodes"]["MID"]["condition"] == "floating"
    assert fields["nodes"]["R1.2"]["volts"] == pytest.approx(10.0, abs=0.2)
    assert "floats" in shell(f"levels {divider} -f 'R1.2:joint open' -f R2:open").out


def test_text_and_fields_say_the_same(divider: Path) -> None:
    """A result prints what its fields hold, in Python as in the shell."""
    result = seqsim.load(divider).levels("on")
    assert "MID" in str(result)
    assert "5.000 V" in str(result)
    assert json.loads(result.to_json()) == result.to_dict()


FLOATING_INPUT = """\
format: 1
title: A gate whose input hangs free, invented for the tests
supplies:
  V3V3: {volts: 3.3}
power_states:
  on: {on: [V3V3]}
parts:
  U1: {kind: buffer, pins: {A: IN, Y: OUT, VCC: V3V3, GND: GND}}
  R1: {kind: resistor, ohms: 10k, pins: [OUT, GND]}
  R2: {kind: resistor, ohms: 1k, pins: [IN, SRC]}
"""


def test_undefined_behind_a_floating_input(shell: Shell, tmp_path: Path) -> None:
    """An output that a floating input decides is undefined, and its range holds both levels."""
    board = tmp_path / "floating.yaml"
    board.write_text(FLOATING_INPUT, encoding="utf-8")
    nodes = json.loads(shell(f"levels {board} --json").out)["nodes"]
    assert nodes["IN"]["condition"] == "floating"
    assert nodes["OUT"]["condition"] == "undefined"
    assert nodes["OUT"]["low"] < 0.2
    assert nodes["OUT"]["high"] > 3.0


CONTENDED = """\
format: 1
title: Two outputs on one wire, invented for the tests
supplies:
  V3V3: {volts: 3.3}
power_states:
  on: {on: [V3V3]}
parts:
  U1: {kind: buffer, pins: {A: V3V3, Y: OUT, VCC: V3V3, GND: GND}}
  U2: {kind: buffer, pins: {A: GND, Y: OUT, VCC: V3V3, GND: GND}}
  R1: {kind: resistor, ohms: 10k, pins: [OUT, GND]}
"""


def test_contended(shell: Shell, tmp_path: Path) -> None:
    """Two push-pull outputs that disagree fight: the node is between their levels and said to be contended."""
    board = tmp_path / "contended.yaml"
    board.write_text(CONTENDED, encoding="utf-8")
    node = json.loads(shell(f"levels {board} --json").out)["nodes"]["OUT"]
    assert node["condition"] == "contended"
    assert 0.5 < node["volts"] < 2.8


LATCH = """\
format: 1
title: Two cross-coupled NOR gates, invented for the tests
supplies:
  V5: {volts: 5}
power_states:
  on: {on: [V5]}
parts:
  U1: {kind: nor, pins: {A: GND, B: QN, Y: Q, VCC: V5, GND: GND}}
  U2: {kind: nor, pins: {A: GND, B: Q, Y: QN, VCC: V5, GND: GND}}
  R1: {kind: resistor, ohms: 100k, pins: [Q, GND]}
  R2: {kind: resistor, ohms: 100k, pins: [QN, GND]}
"""


def test_several_states(shell: Shell, tmp_path: Path) -> None:
    """A latch of two NOR gates at rest has two stable states, which oppose each other; both are told."""
    board = tmp_path / "latch.yaml"
    board.write_text(LATCH, encoding="utf-8")
    fields = json.loads(shell(f"levels {board} --json").out)
    assert fields["condition"] == "several_states"
    (other,) = fields["other_states"]
    for net, opposite in (("Q", "QN"), ("QN", "Q")):
        assert other["nodes"][net]["volts"] == pytest.approx(fields["nodes"][opposite]["volts"], abs=0.01)
    assert abs(fields["nodes"]["Q"]["volts"] - fields["nodes"]["QN"]["volts"]) > 4
    assert "stable state 2" in shell(f"levels {board}").out


@pytest.mark.parametrize(("pulsed", "high"), [("U1", "QN"), ("U2", "Q")])
def test_a_power_up_picks_the_state(shell: Shell, tmp_path: Path, pulsed: str, high: str) -> None:
    """A pulse through a capacitor while the supply rises sets the latch: at rest nothing of it is left to see."""
    board = tmp_path / "latch.yaml"
    gate = f"{pulsed}: {{kind: nor, pins: {{A: "
    capacitor = "  C1: {kind: capacitor, farads: 100n, pins: [V5, START]}\n"
    resistor = "  R3: {kind: resistor, ohms: 10k, pins: [START, GND]}\n"
    board.write_text(LATCH.replace(f"{gate}GND", f"{gate}START") + capacitor + resistor, encoding="utf-8")
    fields = json.loads(shell(f"levels {board} --json").out)
    assert fields["condition"] == "several_states"
    assert fields["nodes"][high]["volts"] > 4.5
    assert fields["other_states"][0]["nodes"][high]["volts"] < 0.5


OSCILLATOR = """\
format: 1
title: An inverter on its own output, invented for the tests
supplies:
  V5: {volts: 5}
power_states:
  on: {on: [V5]}
parts:
  U1: {kind: not, schmitt: true, pins: {A: X, Y: X, VCC: V5, GND: GND}}
  R1: {kind: resistor, ohms: 100k, pins: [X, GND]}
"""


def test_oscillates(shell: Shell, tmp_path: Path) -> None:
    """An inverter that feeds itself has no steady level: the average is shown and the device is named."""
    board = tmp_path / "oscillator.yaml"
    board.write_text(OSCILLATOR, encoding="utf-8")
    fields = json.loads(shell(f"levels {board} --json").out)
    assert fields["condition"] == "oscillates"
    assert fields["loop"] == ["U1"]
    assert "oscillates" in shell(f"levels {board}").out


WEAK = """
format: 1
title: A step-down on a weak supply, invented for the tests
supplies:
  VIN: {volts: 12, ohms: 0.05, amps: 0.5}
power_states:
  on: {on: [VIN]}
parts:
  U1: {kind: regulator, type: switching, volts: 5, amps: 3, efficiency: 90%, undervoltage: 7.5V, start_delay: 10us,
       ramp: 100us, pins: {IN: VIN, OUT: V5, GND: GND}}
  C1: {kind: capacitor, farads: 100u, pins: [VIN, GND]}
  C2: {kind: capacitor, farads: 1u, pins: [V5, GND]}
  R1: {kind: resistor, ohms: 5, pins: [V5, GND]}
"""


def test_pulsing_that_no_start_finds(shell: Shell, tmp_path: Path) -> None:
    """A supply that holds its load, but cannot start it, pulses: the power-up says so, the other state is told too."""
    board = tmp_path / "weak.yaml"
    board.write_text(WEAK, encoding="utf-8")
    fields = json.loads(shell(f"levels {board} --json").out)
    assert (fields["condition"], fields["pulsing"], fields["loop"]) == ("oscillates", True, ["U1"])
    assert (fields["nodes"]["VIN"]["low"], fields["nodes"]["VIN"]["high"]) == pytest.approx((6.9, 7.5), abs=1e-3)
    (other,) = fields["other_states"]
    assert other["pulsing"] is False
    assert other["nodes"]["V5"]["volts"] == pytest.approx(4.99, abs=0.01)
    board.write_text(WEAK.replace("amps: 0.5", "amps: 2"), encoding="utf-8")
    fields = json.loads(shell(f"levels {board} --json").out)
    assert (fields["condition"], fields["pulsing"], fields["other_states"]) == ("steady", False, [])


def test_hiccup(shell: Shell, tmp_path: Path) -> None:
    """A regulator with hiccup pulses into a short: the average is a small share of its limit's, and it is named."""
    board = tmp_path / "hiccup.yaml"
    text = WEAK.replace("amps: 0.5", "amps: 5").replace("amps: 3", "amps: 3, overload: hiccup")
    board.write_text(text, encoding="utf-8")
    told = shell(f"levels {board} --fault 'V5:short to GND, 0.5 Ω'").out
    assert "pulses" in told
    assert "what switches: U1" in told
    fields = json.loads(shell(f"levels {board} --fault 'V5:short to GND, 0.5 Ω' --json").out)
    assert fields["nodes"]["V5"]["volts"] == pytest.approx(3 * 0.5 * 5 / 5.5 * 1 / 21, rel=0.02)
    assert fields["nodes"]["V5"]["high"] == pytest.approx(3 * 0.5 * 5 / 5.5, rel=0.01)

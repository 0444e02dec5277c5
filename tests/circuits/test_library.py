"""The library of circuits: what each file says of a healthy board is what the model gives."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from seqsim.circuit import OFF, Circuit, check, compile_network, read_circuit, state_gates
from seqsim.faults import find_fault, single_faults
from seqsim.readings import Probe, measurement, read_readings
from seqsim.solver import Levels, Steadiness, solve, thevenin_ohms

FOLDER = Path(__file__).parents[2] / "circuits"
FILES = sorted(path for path in FOLDER.glob("*.yaml") if not path.name.endswith(".readings.yaml"))
NAMES = [path.stem for path in FILES]
BOARDS = ("beehive_scale", "greenhouse_fan", "organ_blower")
STAGES = (
    "diode_wired_and",
    "double_inversion",
    "inverting_npn",
    "n_channel_pass",
    "p_channel_high_side",
    "power_good_chain",
)

Window = tuple[float, float]
LOW: Window = (-0.001, 0.15)
"""A saturated switch leaves 0.02 to 0.2 V (common practice); our stages are driven hard."""
NOTHING: Window = (-0.001, 0.005)
"""A net that only a resistor holds at 0 V."""
BASE: Window = (0.6, 0.75)
"""VBE of a saturated small transistor: VBEsat 0.65 to 0.85 V at 10 mA, 0.58 to 0.70 V at 2 mA in data sheets."""
DIODE_LOW: Window = (0.1, 0.4)
"""One Schottky drop (0.22 to 0.40 V from 0.1 to 10 mA in data sheets; less at tens of microamperes) above a low."""
FLOATING_OHMS = 10e6
"""A net with more Thevenin resistance than this is said to float."""


def about(volts: float, share: float = 0.01) -> Window:
    """Return the window of a level that is worked out by hand."""
    return volts * (1 - share), volts * (1 + share)


HEALTHY: dict[str, dict[str, dict[str, Window]]] = {
    "inverting_npn": {
        "shut": {"Q1_BASE": NOTHING, "HEAT_EN": about(5 * 100 / 101)},  # R3 over R4
        "open": {"Q1_BASE": BASE, "HEAT_EN": LOW},
    },
    "double_inversion": {
        # R3 and R4 in a row into a base at 0.65 V: 5 - 10k * 4.35 / 32k
        "asleep": {"WAKE_N": about(3.64, 0.02), "Q2_BASE": BASE, "MODEM_EN": LOW},
        "awake": {"Q1_BASE": BASE, "WAKE_N": LOW, "MODEM_EN": about(12)},
    },
    "diode_wired_and": {
        "cold": {"ALL_OK": DIODE_LOW, "STEAM_EN": NOTHING},
        "ready": {"ALL_OK": about(3.3), "STEAM_EN": about(3.3)},
        "door": {"ALL_OK": DIODE_LOW, "STEAM_EN": NOTHING},
    },
    "p_channel_high_side": {
        "idle": {"M1_GATE": about(12), "LAMP": NOTHING},
        "charging": {"M1_GATE": about(12 * 10 / 110, 0.05), "LAMP": about(12)},  # R3 against R4
    },
    "n_channel_pass": {
        "held": {"M1_GATE": LOW, "V5_CAM": NOTHING},
        "feeding": {"M1_GATE": about(12), "V5_CAM": about(5)},
    },
    "power_good_chain": {
        "waiting": {"V5": NOTHING, "PG_5V": NOTHING, "V3V3": NOTHING, "V1V8": NOTHING, "RADIO_GO": NOTHING},
        "armed": {"V5": about(5), "PG_5V": about(5), "V3V3": about(3.3), "V1V8": about(1.8), "RADIO_GO": about(3.3)},
    },
    "planetarium_supply": {
        "standby": {
            "V5SB": about(5), "PS_ON#": about(5 - 4.7 / 26.7 * (5 - 0.65), 0.01), "RUN": LOW, "V12": NOTHING,
            "V5": NOTHING, "V3V3": NOTHING, "GOOD": LOW, "PWR_OK": NOTHING, "PERST#": NOTHING,
        },
        "on": {
            "PS_ON#": NOTHING, "RUN": about(5), "V12": about(12), "V5": about(5), "V3V3": about(3.3),
            "GOOD": about(5), "PWR_OK": about(5 * 100 / 101, 0.01), "PERST#": about(3.3, 0.02),
        },
    },
    "beehive_scale": {
        "asleep": {"M1_GATE": about(6.2), "VSW": NOTHING, "V3V3": NOTHING, "EXC_EN": NOTHING},
        "awake": {
            "M1_GATE": about(6.2 * 10 / 110, 0.05), "VSW": about(6.2), "V3V3": about(3.3), "PG_3V3": about(3.3),
            "AND_NODE": DIODE_LOW, "EXC_EN": NOTHING, "BRIDGE_LO": about(3.3),
        },
        "weighing": {"V3V3": about(3.3), "AND_NODE": about(3.3), "EXC_EN": about(3.3), "BRIDGE_LO": LOW},
    },
    "greenhouse_fan": {
        "battery": {
            "EN_5V": about(24 * 10 / 110), "V5": about(5), "PG_5V": about(5), "V3V3": about(3.3), "ARMED": DIODE_LOW,
            "RUN": NOTHING, "Q2_BASE": NOTHING, "Q1_BASE": BASE, "EN_BLOWER": LOW, "M1_GATE": about(24),
            "VBLOW": NOTHING,
        },
        "flap_shut": {
            "START": about(3.3 * 47 / 48), "ARMED": DIODE_LOW, "RUN": NOTHING, "EN_BLOWER": LOW, "VBLOW": NOTHING,
        },
        "running": {
            "ARMED": about(3.3, 0.02), "RUN": about(3.3), "Q2_BASE": BASE, "Q1_BASE": LOW,
            "EN_BLOWER": about(5 * 101 / 111),  # R7 over R9 and R10
            "M1_GATE": about(24 - 10, 0.03), "VBLOW": about(24),
        },
    },
    "organ_blower": {
        "standby": {
            "V12": about(12), "V5": about(5), "V3V3": about(3.3), "KEY_N": about(3.64, 0.02), "PASS_GATE": LOW,
            "V5CON": NOTHING, "CON_OK": LOW, "READY": DIODE_LOW, "RUN": NOTHING,
            "RUN_N": about(12 - 10e3 * 11.35 / 57e3, 0.02),  # R20 and R21 in a row into a base at 0.65 V
            "BLOW_EN": LOW, "M2_GATE": about(24), "VBLOW": NOTHING,
        },
        "console": {
            "KEY_N": LOW, "PASS_GATE": about(12), "V5CON": about(5), "CON_OK": about(3.3), "READY": DIODE_LOW,
            "BLOW_EN": LOW, "VBLOW": NOTHING,
        },
        "playing": {
            "PG_12V": about(12 * 22 / 69), "TEMP": about(1.65), "TEMP_REF": about(3.3 * 10 / 43), "TEMP_OK": about(3.3),
            "READY": about(3.3), "RUN": about(3.3), "RUN_N": LOW, "BLOW_EN": about(12 * 101 / 111),
            "M2_GATE": about(24 - 10, 0.03),
            "VBLOW": about(24 - 2 * (0.05 + 0.05 + 0.047)),  # 2 A through leads, F1 and M2
        },
    },
}  # fmt: skip
"""Expected volts of a healthy board, worked out by hand from the values in the file."""


@pytest.fixture(scope="module", params=NAMES)
def circuit(request: pytest.FixtureRequest) -> Circuit:
    """Each circuit of the library."""
    return read_circuit(FOLDER / f"{request.param}.yaml")


def name_of(circuit: Circuit) -> str:
    """Return the library name of a circuit."""
    return Path(circuit.file or "").stem


def walk(circuit: Circuit) -> dict[str, Levels]:
    """Return the levels of each power state, each begun from the one before."""
    network = compile_network(circuit)
    levels: dict[str, Levels] = {}
    start = None
    for state in circuit.power_states:
        levels[state] = solve(network, gates=state_gates(circuit, state), start=start)
        start = levels[state].state
    return levels


def test_library_is_complete() -> None:
    """Six stages and three boards are there, and each of them has its table of healthy levels."""
    assert set(NAMES) >= {*STAGES, *BOARDS}
    assert set(HEALTHY) == set(NAMES)


def test_checks_clean(circuit: Circuit) -> None:
    """Nothing in the library is suspicious."""
    assert check(circuit) == ()


def test_tells_its_story(circuit: Circuit) -> None:
    """Each file says that it is invented, what it shows, what is healthy, what to break, and what to beware of."""
    for word in ("Invented scenario:", "What it shows:", "Healthy", "Faults worth trying:", "Cautions:"):
        assert word in circuit.about, word
    for state in circuit.power_states:
        assert state == OFF or f"\n{state}" in circuit.about, state


def test_healthy_levels(circuit: Circuit) -> None:
    """Each state of a healthy board reads what the text promises, the target included."""
    table = HEALTHY[name_of(circuit)]
    levels = walk(circuit)
    assert [*table] == [state for state in circuit.power_states if state != OFF]
    for state, expected in table.items():
        assert circuit.target in expected
        for net, (low, high) in expected.items():
            volts = levels[state].at(net)
            assert low <= volts <= high, f"{state}: {net} is {volts:.4f} V, not {low:.3f} to {high:.3f} V"


def test_healthy_is_steady_and_driven(circuit: Circuit) -> None:
    """A healthy board is steady in each state, and once something is applied every net of it is driven."""
    for state, levels in walk(circuit).items():
        assert levels.steadiness is Steadiness.STEADY, state
        if state != OFF:
            floating = [net for net in circuit.nets() if thevenin_ohms(levels, net) > FLOATING_OHMS]
            assert floating == [], state


def test_faults_worth_trying_exist(circuit: Circuit) -> None:
    """Two or more faults are proposed, and the board has each of them."""
    paragraph = circuit.about.split("Faults worth trying:")[1].split("\n\n")[0]
    named = re.findall(r"(?<![\w.])([A-Z]\w*(?:\.\w+)?:[^(),.;]+?)(?= \(| or |[,.;])", " ".join(paragraph.split()))
    assert len(named) >= 2
    faults = single_faults(circuit)
    for text in named:
        find_fault(circuit, text, faults)


@pytest.mark.parametrize("name", BOARDS)
def test_boards_come_up(name: str) -> None:
    """In the last state every rail of a board is within its window."""
    circuit = read_circuit(FOLDER / f"{name}.yaml")
    levels = [*walk(circuit).values()][-1]
    for net, rail in circuit.rails.items():
        assert levels.at(net) == pytest.approx(rail.volts, rel=rail.within), net


def test_rails_read_their_ohms(circuit: Circuit) -> None:
    """A meter on each rail of a healthy board without power shows what the file calls usual."""
    network = compile_network(circuit)
    for net, rail in circuit.rails.items():
        assert rail.ohms is not None, net
        ohms = measurement(circuit, Probe(kind="ohms", place=net, state=OFF))
        levels = solve(network, ohms.patches, state_gates(circuit, OFF))
        low, high = rail.ohms
        assert low <= float(ohms.convert(levels.at(ohms.plus) - levels.at(ohms.minus))) <= high, net


@pytest.mark.parametrize(("name", "parts"), [("beehive_scale", 15), ("greenhouse_fan", 30), ("organ_blower", 60)])
def test_boards_have_their_size(name: str, parts: int) -> None:
    """About 15, 30 and 60 parts, copper that can break, and at least two power states beyond off."""
    circuit = read_circuit(FOLDER / f"{name}.yaml")
    assert parts * 0.9 <= len(circuit.parts) <= parts * 1.25
    assert len(circuit.copper) >= 4
    assert len(circuit.power_states) >= 3


@pytest.mark.parametrize("name", BOARDS)
def test_readings_parse(name: str) -> None:
    """Each board has six to ten readings of a broken one, power off and on, and a healthy board contradicts them."""
    circuit = read_circuit(FOLDER / f"{name}.yaml")
    readings = read_readings(circuit, FOLDER / f"{name}.readings.yaml").readings
    assert 6 <= len(readings) <= 10
    assert {"volts", "ohms"} <= {reading.kind for reading in readings}
    assert len({reading.state for reading in readings}) >= 3
    target = next(reading for reading in readings if reading.place == circuit.target)
    low, high = HEALTHY[name][target.state][target.place]
    assert not low <= float(str(target.value)) <= high

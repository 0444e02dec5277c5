"""Boards of the library as they are traced: from the target back, in steps, some kinds and values unknown at first.

The readings are what the circuit file's own model shows with a fault, rounded as a meter shows them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import seqsim
from seqsim.board import Board
from seqsim.circuit import Circuit
from seqsim.circuit.notes_compile import parse_notes
from seqsim.errors import UnknownPlaceError
from seqsim.readings import Readings, split_shorthand


@dataclass(frozen=True)
class Traced:
    """A board, the fault it has, the lines of each step, and where is read in which states."""

    name: str
    fault: str
    steps: tuple[str, ...]
    read: tuple[tuple[str, str], ...]

    def text(self, step: int) -> str:
        """Return the notes after a step, counted from 1."""
        return "\n".join(self.steps[:step]) + "\n"

    def circuit(self, step: int) -> Circuit:
        """Return the circuit of the notes after a step."""
        return parse_notes(self.text(step), f"{self.name}.notes")

    def values(self) -> Iterator[str]:
        """Yield the readings in shorthand, as the circuit file's model gives them."""
        board = seqsim.load(self.name)
        for place, state in self.read:
            levels = board.levels(state, self.fault)
            yield f"{place} {levels.nodes[place].volts:.3f} @{state}"

    def readings(self, circuit: Circuit) -> Readings:
        """Return the readings that can be said on a circuit: what is not traced yet has no name."""
        taken = Readings()
        for text in self.values():
            try:
                taken = taken.with_more(circuit, [split_shorthand(text)])
            except UnknownPlaceError:
                continue
        return taken

    def board(self, step: int) -> Board:
        """Return the board of the notes after a step."""
        return Board(f"{self.name} after step {step}", self.circuit(step))


KILN = Traced(
    "inverting_npn", "R1:open",
    (
        """\
target HEAT_EN
V5 5 2% 50m ohm 500mA
DOOR_OPEN 3.3 3% 1k idle low
state shut: V5
state open: V5 DOOR_OPEN
Q1 ? 1=Q1_BASE 2=gnd 3=HEAT_EN
R3 ? 1=V5 2=HEAT_EN""",
        "R3 1k 1%\nR4 100k 1% 2=gnd\nR4.1 goes HEAT_EN via VIA2",
        "Q1 npn sot23",
        "R1 ? 1=DOOR_OPEN\nR1.2 goes Q1.1 via VIA1",
        "R2 100k 1% 1=Q1_BASE 2=gnd\nR1 10k 1%",
    ),
    (("HEAT_EN", "open"), ("HEAT_EN", "shut"), ("Q1_BASE", "open"), ("DOOR_OPEN", "open")),
)  # fmt: skip

TIDE = Traced(
    "double_inversion", "VIA3:broken",
    (
        """\
target MODEM_EN
V12 12 2% 50m ohm 1A
V5 5 2% 50m ohm 500mA
WAKE 3.3 3% 1k idle low
state asleep: V12 V5
state awake: V12 V5 WAKE
R6 10k 1% 1=V12 2=MODEM_EN
Q2 npn? B=Q2_BASE C=MODEM_EN E=gnd""",
        "R5 100k 1% 1=Q2_BASE 2=gnd\nR4 ? 2=Q2_BASE",
        "Q2 npn\nR4 22k 1% 1=WAKE_N\nQ1 ? C=WAKE_N E=gnd B=Q1_BASE\nR4.1 goes Q1.C via VIA2",
        "Q1 npn\nR3 ? 1=V5\nR3.2 goes Q1.C via VIA3",
        "R3 10k 1%\nR1 10k 1% 1=WAKE\nR2 100k 1% 1=Q1_BASE 2=gnd\nR1.2 goes Q1.B via VIA1",
    ),
    (
        ("MODEM_EN", "asleep"), ("MODEM_EN", "awake"), ("Q2_BASE", "asleep"), ("WAKE_N", "asleep"), ("WAKE_N", "awake"),
        ("V5", "asleep"),
    ),
)  # fmt: skip

LAMPS = Traced(
    "p_channel_high_side", "R3:open",
    (
        """\
target LAMP
V12 12 2% 20m ohm 2A
CHARGE 3.3 3% 1k idle low
state idle: V12
state charging: V12 CHARGE
rail LAMP 12 5%
M1 fet? G=M1_GATE D=LAMP S=V12
LD1 24 2=gnd
LD1.1 goes M1.D via WIRE1""",
        "M1 pmos model=pmos-power\nR4 ? 2=M1_GATE\nR4.1 goes M1.S via VIA2",
        "R4 100k 1%\nR3 ? 2=DRIVE_N\nR3.1 goes M1.G via VIA1",
        "Q1 npn? B=Q1_BASE C=DRIVE_N E=gnd",
        "Q1 npn\nR3 10k 1%\nR1 10k 1% 1=CHARGE 2=Q1_BASE\nR2 100k 1% 1=Q1_BASE 2=gnd",
    ),
    (
        ("LAMP", "charging"), ("M1_GATE", "charging"), ("M1_GATE", "idle"), ("DRIVE_N", "charging"),
        ("Q1_BASE", "charging"),
    ),
)  # fmt: skip

OVEN = Traced(
    "diode_wired_and", "D2:short",
    (
        """\
target STEAM_EN
V3V3 3.3 2% 50m ohm 300mA
DOOR 3.3 3% 100 ohm idle low
WATER 3.3 3% 100 ohm idle low
HOT 3.3 3% 100 ohm idle low
state cold: V3V3 DOOR WATER
state ready: V3V3 DOOR WATER HOT
state door: V3V3 WATER HOT
U1 ? A=ALL_OK Y=STEAM_EN VCC=V3V3 GND=gnd
R2 47k 5% 1=STEAM_EN 2=gnd""",
        "U1 buffer family=lvc schmitt=true\nR1 ? 1=V3V3 2=ALL_OK\nALL_OK goes on",
        "R1 10k 1%\nD1 ? model=schottky-small K=DOOR\nD1.A goes R1.2 via VIA1",
        "D3 schottky model=schottky-small A=ALL_OK K=HOT",
        "D2 schottky model=schottky-small A=ALL_OK K=WATER\nALL_OK done\nU1.A goes R1.2 via VIA2",
    ),
    (("STEAM_EN", "ready"), ("ALL_OK", "ready"), ("STEAM_EN", "cold"), ("ALL_OK", "cold"), ("WATER", "door")),
)  # fmt: skip

_PG = "power_good=93%,110%"
FROST = Traced(
    "power_good_chain", "R3:open",
    (
        """\
target RADIO_GO
V12 12 2% 50m ohm 1A
ARM 3.3 3% 1k idle low
state waiting: V12
state armed: V12 ARM
R4 ? 1=V3V3 2=RADIO_GO""",
        (f"U2 regulator linear 3.3V amps=300m enable_threshold=1.2V {_PG} OUT=V3V3 GND=gnd\n"
        "R4 10k 1%\nU2.PG goes R4.2 via VIA3"),
        (f"U3 regulator linear 1.8V amps=300m enable_threshold=1.2V {_PG} OUT=V1V8 GND=gnd\n"
        "U3.PG goes R4.2 via VIA2\nU2.IN = U3.IN = V5\nU2.EN = PG_5V\nU3.EN goes U2.EN via VIA1\n"
        "LD1 220 1=V3V3 2=gnd\nLD2 180 1=V1V8 2=gnd\nrail V3V3 3.3 5%\nrail V1V8 1.8 5%"),
        "R3 ? 1=V5 2=PG_5V",
        (f"U1 regulator switching 5V amps=1 enable_threshold=1.2V {_PG} IN=V12 EN=ARM OUT=V5 PG=PG_5V GND=gnd\n"
        "R3 10k 1%\nR1 100k 5% 1=ARM 2=gnd\nC1 22u 1=V5 2=gnd\nC2 10u 1=V3V3 2=gnd\nC3 10u 1=V1V8 2=gnd\nrail V5 5 5%"),
    ),
    (("RADIO_GO", "armed"), ("V3V3", "armed"), ("V1V8", "armed"), ("V5", "armed"), ("PG_5V", "armed")),
)  # fmt: skip

TRACED = (KILN, TIDE, LAMPS, OVEN, FROST)

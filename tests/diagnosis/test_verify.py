"""A repaired board, judged."""

from __future__ import annotations

import numpy as np
import pytest
from measured_boards import desk_of, displayed, drawn_network, seen

from seqsim.circuit import Circuit, library, read_circuit
from seqsim.diagnosis import Verification, verify
from seqsim.diagnosis.conditions import desk
from seqsim.diagnosis.hypotheses import listed
from seqsim.diagnosis.proof import healthy, proofs
from seqsim.network import vary
from seqsim.readings import Probe, Readings, measurement, parse_reading

FAN = read_circuit(library()["greenhouse_fan"])
KILN = read_circuit(library()["inverting_npn"])
RIGHT = ("V5 101k ohm", "HEAT_EN 4.95 @shut", "HEAT_EN 0.10 @open")


def judged(circuit: Circuit, *texts: str, repaired: str | tuple[str, ...] = ()) -> Verification:
    taken = tuple(parse_reading(circuit, text) for text in texts)
    return verify(circuit, Readings(readings=taken), (repaired,) if isinstance(repaired, str) else repaired)


def test_a_good_board_is_proved() -> None:
    """No short, the target right in every state: nothing is missing, nothing is off."""
    found = judged(KILN, *RIGHT)
    assert found.verdict == "proved"
    assert not found.missing
    assert all(line.verdict == "as_healthy" for line in found.readings)


@pytest.mark.parametrize(
    ("text", "verdict"),
    [("HEAT_EN 3.1 @shut", "low"), ("HEAT_EN 0.9 @open", "high"), ("V5 12 ohm", "low"), ("HEAT_EN low @shut", "off")],
)
def test_what_is_off_is_told(text: str, verdict: str) -> None:
    """One wrong reading is enough, on whichever side it lies, as number or as word."""
    place, where = text.split(maxsplit=1)[0], text.rsplit(maxsplit=1)[-1]
    found = judged(KILN, *(one for one in RIGHT if not (one.startswith(place) and one.endswith(where))), text)
    assert found.verdict == "off"
    assert [line.verdict for line in found.readings].count(verdict) == 1


def test_words_that_fit_are_right() -> None:
    """A level that is only called high or low is right where a healthy board has it so."""
    assert judged(KILN, "V5 101k ohm", "HEAT_EN high @shut", "HEAT_EN low @open").verdict == "proved"


def test_what_is_missing_is_asked_for_in_order() -> None:
    """Without readings it asks for the unpowered check first, then states in their order, rails before other places."""
    found = judged(FAN)
    assert found.verdict == "incomplete"
    asked = [(each.place, each.state) for each in found.missing]
    assert asked == [
        ("V24", "off"), ("EN_BLOWER", "battery"), ("EN_BLOWER", "flap_shut"), ("V5", "running"), ("V3V3", "running"),
        ("VBLOW", "running"), ("EN_BLOWER", "running"),
    ]  # fmt: skip
    for each in found.missing:
        assert parse_reading(FAN, each.write).place == each.place


def test_a_rail_within_its_band_only() -> None:
    """A rail outside the band of the file is not up, even where the model's spread would let it pass."""
    line = next(line for line in judged(FAN, "V5 4.70").readings if line.place == "V5")
    assert (line.verdict, line.rail) == ("low", True)


def test_ohms_known_from_good_boards_count() -> None:
    """The file's ohms of a rail stand above what the model predicts."""
    assert judged(FAN, "V5 56k ohm").readings[0].verdict == "as_healthy"
    assert judged(FAN, "V5 50k ohm").readings[0].verdict == "low"


def test_the_proof_of_a_repair_tells_it_from_the_fault() -> None:
    """Each proof reads differently while the fault is there, at nearly every severity; hidden places are not asked."""
    at = desk(FAN)
    faults = [h for h in listed(FAN) if h.name in ("VIA4:broken", "D3:open", "V5:short to GND", "R12:open")]
    for fault, found in zip(faults, proofs(at, [(h.modes[0], h.places) for h in faults]), strict=True):
        assert found, fault.name
        measurements = [measurement(FAN, proof.probe) for proof in found]
        whole = healthy(at, measurements)
        tips = seen(at, [vary(at.network, fault.modes[0].patches(1.0))], measurements).tips[0]
        assert (np.abs(tips - whole.mean) > 3 * whole.deviation).all(), fault.name


def test_a_repair_asks_for_its_proof() -> None:
    """With the fault named, its proof is asked for besides what every board needs."""
    plain, named = judged(FAN), judged(FAN, repaired="VIA4:broken")
    more = {(each.place, each.state) for each in named.missing} - {(each.place, each.state) for each in plain.missing}
    assert more
    assert named.repaired == ("VIA4:broken",)


@pytest.mark.parametrize("name", ["inverting_npn", "beehive_scale"])
def test_healthy_boards_pass(name: str) -> None:
    """Boards with drawn parts and a meter's error pass at three standard deviations: nearly all readings are right."""
    circuit = read_circuit(library()[name])
    probes = [Probe(kind="volts", place=net, state=state) for net in circuit.nets() if net not in circuit.grounds
              for state, power in circuit.power_states.items() if power.on]  # fmt: skip
    measurements = [measurement(circuit, probe) for probe in probes]
    random = np.random.default_rng(7)
    at = desk(circuit)
    off = total = 0
    for _ in range(20):
        board = desk_of(circuit, drawn_network(at.network, random))
        readings = displayed(probes, measurements, seen(board, [vary(board.network)], measurements).tips[0], random)
        lines = verify(circuit, Readings(readings=readings)).readings
        off += sum(line.verdict != "as_healthy" for line in lines)
        total += len(lines)
    assert off / total < 0.02, f"{off} of {total}"

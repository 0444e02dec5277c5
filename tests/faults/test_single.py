"""The list of single faults."""

from __future__ import annotations

import math

import numpy as np
import pytest

from seqsim.circuit import Circuit, compile_network, find_circuit, parse_circuit, read_circuit, state_gates
from seqsim.errors import QuantityError, UnknownPlaceError
from seqsim.faults import Fault, Kind, find_fault, middle, one_at_a_time, single_faults, something_at
from seqsim.network import Bridge, Disable, Move, SetSide, vary
from seqsim.parts import KINDS, Standing
from seqsim.solver import Steadiness, solve_variant, static_gates


def named(circuit: Circuit, name: str) -> Fault:
    """Return the fault of that name."""
    fault, severity = find_fault(circuit, name)
    assert severity is None
    return fault


def all_names(circuit: Circuit) -> list[str]:
    """Return the names of all faults of a board, other names of the same event included."""
    return [name for fault in single_faults(circuit) for name in (fault.name, *fault.also)]


def one_of(kind: str) -> Circuit:
    """Return a board around one part of a kind, X1, with a resistor at each pin and as little given as possible."""
    given = {
        "black_box": "high_when: 'A > 1V', pins: {A: NA, OUT: NOUT, VCC: V5, GND: GND}",
        "capacitor": "farads: 1u",
        "load": "ohms: 1k",
        "regulator": "volts: 3.3",
        "supervisor": "threshold: 2.9",
        "resistor": "ohms: '?'",
    }
    pins = {pin: {"GND": "GND", "VCC": "V5", "IN": "V5"}.get(pin, f"N{pin}") for pin in KINDS[kind].pin_names}
    values = given.get(kind, "")
    if "pins:" not in values:
        listed = ", ".join(f"{pin}: {net}" for pin, net in pins.items())
        values = ", ".join(filter(None, (values, f"pins: {{{listed}}}")))
    nets = sorted({*pins.values(), "NA", "NOUT"} - {"GND", "V5"})
    rest = "".join(f"  R{k}: {{kind: resistor, ohms: 10k, pins: [{net}, V5]}}\n" for k, net in enumerate(nets))
    return parse_circuit(
        "format: 1\ntitle: one part\nsupplies: {V5: {volts: 5}}\npower_states: {on: {on: [V5]}}\n"
        f"parts:\n  X1: {{kind: {kind}, {values}}}\n{rest}"
    )


def test_names_are_unique(library: Circuit) -> None:
    """No name stands for two faults, other names included."""
    names = all_names(library)
    assert len(names) == len(set(names))


def test_priors_add_up(library: Circuit) -> None:
    """Priors are a distribution."""
    priors = [fault.prior for fault in single_faults(library)]
    assert math.isclose(sum(priors), 1.0, rel_tol=1e-12)
    assert min(priors) > 0


def test_every_fault_says_what_to_do(library: Circuit) -> None:
    """Each fault carries a place, a source with standing, a proof, a mend and a caution."""
    for fault in single_faults(library):
        assert fault.place == fault.name.rpartition(":")[0]
        assert fault.place in fault.places
        assert fault.source.text
        assert isinstance(fault.source.standing, Standing)
        assert fault.confirm
        assert fault.repair
        assert fault.caution


def test_patches_fit_the_network(library: Circuit) -> None:
    """Every fault can be applied at each of its severities: places, knobs and gates exist, conductances are finite."""
    network = compile_network(library)
    for fault in single_faults(library):
        points = np.array([1.0]) if fault.severity is None else fault.severity.points(6)
        single = one_at_a_time(network, fault.patches(middle(fault.severity)))
        for at in points if single else [points]:
            variant = vary(network, fault.patches(at))
            assert variant.severities == (1 if single or fault.severity is None else 6)
            assert np.isfinite(variant.ports.conductance).all()
            assert np.isfinite(variant.ports.threshold).all()
            assert (variant.ports.conductance >= 0).all()


def test_every_fault_changes_something(library: Circuit) -> None:
    """No fault leaves the network as it was, so none can hide behind the healthy board by construction."""
    network = compile_network(library)
    for fault in single_faults(library):
        variant = vary(network, fault.patches(middle(fault.severity)))
        forced = (variant.gate_force >= 0).any() or (variant.side_force >= 0).any()
        moved = not np.array_equal(variant.rows.rising, network.rows.rising)
        assert forced or moved or len(variant.replaced) or len(variant.port_of), fault.name


@pytest.mark.parametrize("name", [
    "R3:open", "R3:high", "R3:low", "R3:short", "Q1:C-E short", "Q1:B-E short", "Q1:dead", "U5:Y open",
    "U5:Y stuck low", "U5:A stuck low", "U5:A stuck high", "U2:no output", "U2:passes input", "U2:PG never releases",
    "U2:PG never pulls", "U5.VCC:joint open", "R3.1:joint open", "VIA3:broken", "V5:short to GND", "V5:leak to V12",
    "U5:A-B bridged", "START:absent", "START:stuck low", "START:low", "START:too high", "VBAT:absent", "C1:short",
    "Q1:missing", "Q1:all shorted",
])  # fmt: skip
def test_names_are_those_of_the_trade(flap: Circuit, name: str) -> None:
    """The list has these faults under these names."""
    fault = named(flap, name)
    assert name in (fault.name, *fault.also)


def test_places_of_joints_copper_and_bridges(flap: Circuit) -> None:
    """A joint counts with its part and net, copper with its net, a bridge with both ends; ground counts nowhere."""
    assert named(flap, "R3.1:joint open").places == {"R3.1", "R3", "V5"}
    assert named(flap, "R2.2:joint open").places == {"R2.2", "R2", "BASE"}
    assert named(flap, "Q1.E:joint open").places == {"Q1.E", "Q1"}
    assert named(flap, "VIA3:broken").places == {"VIA3", "BASE"}
    assert named(flap, "EN:leak to V5").places == {"EN", "V5"}
    assert named(flap, "EN:short to GND").places == {"EN"}
    assert named(flap, "U5:A-B bridged").places == {"U5", "EN", "EN2"}
    assert named(flap, "VBAT:absent").places == {"VBAT", "V12"}


def test_an_open_joint_leaves_the_pad(flap: Circuit) -> None:
    """The pin goes to a node of its own; the copper under it and the rest of the net stay."""
    network = compile_network(flap)
    variant = vary(network, named(flap, "R3.1:joint open").patches(1.0))
    assert variant.node("R3.1") == variant.size - 1
    assert variant.node("R3.1/pad") == variant.node("V5") == variant.node("R1.1")


def test_packages_share_supply_joints(flap: Circuit) -> None:
    """One supply joint feeds both gates of a package; other pins and other parts have joints of their own."""
    joint = named(flap, "U6.VCC:joint open")
    assert joint.name == "U5.VCC:joint open"
    assert [patch.pins for patch in joint.patches(1.0) if isinstance(patch, Move)] == [("U5.VCC",), ("U6.VCC",)]
    variant = vary(compile_network(flap), joint.patches(1.0))
    assert variant.node("U5.VCC") == variant.node("U6.VCC") != variant.node("V5")
    assert named(flap, "Q1.E:joint open") is not named(flap, "Q2.E:joint open")
    assert named(flap, "U5:missing").name == "IC5:missing"


def test_lone_pins_have_no_joint(flap: Circuit) -> None:
    """An open joint of a pin that is alone on its net changes nothing and is not listed."""
    parts = {name: part for name, part in flap.parts.items() if name != "R5"}
    lonely = flap.model_copy(update={"parts": parts, "target": None})
    names = all_names(lonely)
    assert "U6.Y:joint open" not in names
    assert "U6.A:joint open" in names


def test_same_events_are_one_fault(flap: Circuit) -> None:
    """What is the same by construction has one entry, the simplest name first, the other names kept, priors added."""
    opened = named(flap, "R3:missing")
    assert opened.name == "R3:open"
    assert opened.patches(1.0) == (Disable("R3"),)
    bridged = named(flap, "Q1:C-E bridged")
    assert bridged.name == "Q1:C-E short"
    rail = flap.rails["V5"].model_copy(update={"net": "V12"})
    both = named(flap.model_copy(update={"rails": {**flap.rails, "V12": rail}}), "V5:short to V12")
    assert {both.name, *both.also} == {"V5:short to V12", "V12:short to V5"}
    patches = [fault.patches(middle(fault.severity)) for fault in single_faults(flap)]
    ends = [frozenset((p.first, p.second)) for (p, *rest) in patches if isinstance(p, Bridge) and not rest]
    leaks = sum(fault.kind is Kind.LEAK for fault in single_faults(flap))
    assert len(ends) == len(set(ends)) + leaks


def test_look_alikes_stay_apart(flap: Circuit) -> None:
    """What only looks alike from most places (a resistor open, one of its joints open) is not merged."""
    assert named(flap, "R3:open") is not named(flap, "R3.1:joint open")
    assert named(flap, "R3.1:joint open").patches(1.0) != named(flap, "R3.2:joint open").patches(1.0)


def test_pins_on_one_net_are_not_bridged(flap: Circuit) -> None:
    """Neighbours that copper joins anyway have no bridge between them."""
    assert "U5:B-Y bridged" in all_names(flap)
    q2 = flap.parts["Q2"]
    tied = q2.model_copy(update={"pins": {"B": "PG_5V", "C": "PG_5V", "E": "GND"}})
    names = all_names(flap.model_copy(update={"parts": {**flap.parts, "Q2": tied}}))
    assert "Q2:B-C bridged" not in names
    assert "Q2:C-E bridged" in names


def test_pin_order_decides_who_are_neighbours(flap: Circuit) -> None:
    """`pin_order` overrides the order in which the part lists its pins."""
    u5 = flap.parts["U5"].model_copy(update={"pin_order": ("A", "VCC", "B", "GND", "Y")})
    names = all_names(flap.model_copy(update={"parts": {**flap.parts, "U5": u5}}))
    assert {"U5:A-VCC bridged", "U5:VCC-B bridged", "U5:B-GND bridged", "U5:GND-Y bridged"} <= set(names)
    assert "U5:A-B bridged" not in names


def test_signals_are_no_targets_of_shorts(flap: Circuit) -> None:
    """Nets are shorted to rails and power supplies, not to a signal that comes through a kilohm."""
    names = all_names(flap)
    assert "EN:short to V12" in names
    assert "EN:short to V5" in names
    assert "EN:short to START" not in names
    assert "START:short to GND" in names


class TestPublishedOrderings:
    """Orderings on which two published tables agree; the digits are not tested.

    MIL-HDBK-338B failure-mode distributions and Birolini, *Reliability Engineering*, relative occurrence of failure
    modes: both from memory, not checked against the text.
    """

    @staticmethod
    def prior(circuit: Circuit, place: str, *words: str) -> float:
        """Sum of the priors of the part's own modes whose name ends with one of the words."""
        faults = [f for f in single_faults(circuit) if f.place == place and f.kind is Kind.PART]
        return sum(fault.prior for fault in faults if fault.name.endswith(words))

    def test_junctions_short_more_often_than_they_open(self, flap: Circuit) -> None:
        """Bipolar transistors: short before open."""
        assert self.prior(flap, "Q1", " short") > self.prior(flap, "Q1", "dead", "open")

    def test_film_resistors_hardly_ever_short(self, flap: Circuit) -> None:
        """Film resistors: open and drift far before short."""
        for word in ("open", "high"):
            assert self.prior(flap, "R3", word) > 3 * self.prior(flap, "R3", "short")

    def test_ceramic_capacitors_short_before_they_open(self, flap: Circuit) -> None:
        """Ceramic and solid tantalum capacitors: short before open."""
        assert self.prior(flap, "C1", "short") > self.prior(flap, "C1", "open")

    def test_logic_opens_before_it_sticks(self, flap: Circuit) -> None:
        """MOS logic: an open output, or an input that is no longer followed, before a stuck output."""
        stuck = ("Y stuck low", "Y stuck high")
        unfollowed = ("A stuck low", "A stuck high", "B stuck low", "B stuck high")
        assert self.prior(flap, "U5", "Y open") > self.prior(flap, "U5", *stuck)
        assert self.prior(flap, "U5", *unfollowed) > self.prior(flap, "U5", *stuck)

    def test_a_joint_is_rarer_than_its_transistor(self, flap: Circuit) -> None:
        """One joint fails far less often than a transistor (common practice; the rate of a joint is judgement)."""
        assert named(flap, "Q1.B:joint open").prior < self.prior(flap, "Q1", "") / 3


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_every_family(kind: str) -> None:
    """A part of any family, its values unknown, has faults that can be applied and found by name."""
    circuit = one_of(kind)
    network = compile_network(circuit)
    faults = single_faults(circuit)
    assert {fault.kind for fault in faults if "X1" in fault.places} >= {Kind.PART, Kind.JOINT}
    for fault in faults:
        vary(network, fault.patches(middle(fault.severity)))
        assert find_fault(circuit, fault.name, faults) == (fault, None)


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_every_family_can_be_anything(kind: str) -> None:
    """Something at a part of any family reaches each of its pins, and can be applied."""
    circuit = one_of(kind)
    network = compile_network(circuit)
    found = next(found for found in something_at(circuit) if found.place == "X1")
    names = {mode.name for mode in found.modes}
    for pin in circuit.parts["X1"].pins:
        assert f"in series with {pin}" in names
    for mode in found.modes:
        vary(network, mode.patches(1.0 if mode.severity is None else mode.severity.points(3)))


def test_judgement_is_declared(flap: Circuit) -> None:
    """Joints, copper, bridges, shorts of nets say that they are judgement; no product stands above its factors."""
    for fault in single_faults(flap):
        if fault.kind not in (Kind.PART, Kind.SUPPLY):
            assert fault.source.standing is Standing.JUDGEMENT
    assert named(flap, "R3:open").source.standing is Standing.MEMORY


class TestFactors:
    """History tilts priors by visible factors."""

    def test_a_kind(self, flap: Circuit) -> None:
        """After a fall, joints are suspect: their odds rise by the factor, all else keeps its proportions."""
        before = {fault.name: fault.prior for fault in single_faults(flap)}
        after = {fault.name: fault.prior for fault in single_faults(flap, {"joint": 5.0})}
        odds = after["R3.1:joint open"] / after["R3:open"]
        assert math.isclose(odds, 5 * before["R3.1:joint open"] / before["R3:open"])
        assert math.isclose(sum(after.values()), 1.0)

    def test_places_and_kinds_multiply(self, flap: Circuit) -> None:
        """Factors for a kind, a place and a fault multiply where they meet."""
        before = {fault.name: fault.prior for fault in single_faults(flap)}
        after = {f.name: f.prior for f in single_faults(flap, {"joint": 5.0, "R3": 2.0, "R3.1:joint open": 3.0})}
        odds = after["R3.1:joint open"] / after["R4:open"]
        assert math.isclose(odds, 30 * before["R3.1:joint open"] / before["R4:open"])
        assert math.isclose(after["R3:open"] / after["R4:open"], 2 * before["R3:open"] / before["R4:open"])

    def test_zero_excludes(self, flap: Circuit) -> None:
        """A factor of zero takes a place off the list."""
        assert not any("R3" in fault.places for fault in single_faults(flap, {"R3": 0.0}))

    def test_mistakes_are_said(self, flap: Circuit) -> None:
        """An unknown name gets close matches, a factor without sense a reason."""
        with pytest.raises(UnknownPlaceError, match="did you mean 'joint'"):
            single_faults(flap, {"joints": 2.0})
        with pytest.raises(QuantityError, match="not negative"):
            single_faults(flap, {"joint": -1.0})
        with pytest.raises(QuantityError, match="leave no fault possible"):
            single_faults(flap, {kind.value: 0.0 for kind in Kind})


@pytest.mark.parametrize("name", ["kiln_interlock", "late_enable", "supervised_lamp", "window_comparator"])
def test_open_ground_is_one_event(name: str) -> None:
    """A chip whose ground joint is open is off as well: its board settles in every power state."""
    circuit = read_circuit(find_circuit(name))
    network = compile_network(circuit)
    found = 0
    for fault in single_faults(circuit):
        if not fault.name.endswith(".GND:joint open"):
            continue
        patches = fault.patches(1.0)
        owner = fault.name.partition(".")[0]
        if owner in network.row_owners:
            found += 1
            assert SetSide(owner, "supply", above=False) in patches
        state = None
        for power in circuit.power_states:
            levels = solve_variant(vary(network, patches), static_gates(network, state_gates(circuit, power)), state)
            assert levels.steadiness is Steadiness.STEADY, (fault.name, power)
            state = levels.state
    assert found


def test_one_package_loses_its_ground_at_once(flap: Circuit) -> None:
    """Gates of one package share their ground joint, and all of them are off without it."""
    fault = named(flap, "U5.GND:joint open")
    assert {patch.owner for patch in fault.patches(1.0) if isinstance(patch, SetSide)} == {"U5", "U6"}

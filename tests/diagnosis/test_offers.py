"""Which readings are on offer, and what each costs in time."""

from __future__ import annotations

import pytest

from seqsim.circuit import Circuit, library, read_circuit
from seqsim.circuit.model import REACH_SECONDS
from seqsim.diagnosis.offers import WORK_SECONDS, Reach, again, force, offers, seconds_of, state_seconds
from seqsim.readings import Probe, format_reading, measurement, parse_reading
from seqsim.readings.interventions import Lifted, Limited, Pressed
from seqsim.readings.reading import Reading

FAN = read_circuit(library()["greenhouse_fan"])


def places(circuit: Circuit, **options: object) -> set[str]:
    return {offer.probe.place for offer in offers(circuit, **options)}  # type: ignore[arg-type]


def test_hidden_places_are_not_offered() -> None:
    """A hidden pin is offered nowhere; its net still is, since another of its pins can be reached."""
    found = places(FAN, near=["U3.EN", "U3", "PG_5V"])
    assert not {"U3.EN", "U3.EN/pad"} & found
    assert "PG_5V" in found
    assert Reach.of(FAN).at["PG_5V"] != "U3.EN"
    hidden = FAN.model_copy(
        update={"probe_points": {"PG_5V": FAN.probe_points["U3.EN"].model_copy(update={"place": "PG_5V"})}}
    )
    assert "PG_5V" not in places(hidden)


def test_every_offer_can_be_written_and_predicted() -> None:
    """Each offer is a reading that the shorthand takes back and that the model predicts."""
    for offer in offers(FAN, near=["R8", "R8.1", "VIA4", "Q1", "D2"], forced=force("EN_BLOWER", 4.55),
                        driven=["VBLOW"], pressed=["U5.Y"], lifted=["R8.1"], diodes=True):  # fmt: skip
        value = "OL" if offer.probe.kind == "continuity" else 0.1
        line = format_reading(Reading(**dict(offer.probe), value=value))
        assert parse_reading(FAN, line).probe() == offer.probe
        assert measurement(FAN, offer.probe).caution
        assert offer.seconds > 0


def test_what_was_taken_is_not_offered_again() -> None:
    """A reading that was taken is gone from the offers, and nothing else is."""
    taken = Probe(kind="volts", place="RUN", state="running")
    before, after = ({offer.probe for offer in offers(FAN, taken=done)} for done in ((), (taken,)))
    assert before - after == {taken}


def test_staying_is_cheaper_than_leaving() -> None:
    """A place costs what the file says; another power state costs more, and power down most."""
    reach = Reach.of(FAN)
    here = Probe(kind="volts", place="RUN", state="running")
    there = Probe(kind="volts", place="RUN", state="battery")
    off = Probe(kind="ohms", place="RUN", state="off")
    stay, leave, down = (seconds_of(FAN, reach, probe, "running") for probe in (here, there, off))
    assert stay == 25  # the only pin of RUN before VIA4 is U5.Y, 25 s in the file
    assert stay < leave < down
    lifted = here.model_copy(update={"interventions": (Lifted(pin="R8.1"),)})
    assert seconds_of(FAN, reach, lifted, "running") > down + 60


def test_pressing_costs_the_way_to_the_joint() -> None:
    """A joint is pressed with the power on, at the target, also where no tip reaches its pin."""
    reach = Reach.of(FAN)
    found = {str(each.probe.interventions[0]): each for each in offers(FAN, now="running", pressed=["U5.Y", "U3.EN"])
             if each.probe.interventions}  # fmt: skip
    assert found.keys() == {"U5.Y pressed", "U3.EN pressed"}
    plain = seconds_of(FAN, reach, Probe(kind="volts", place="EN_BLOWER", state="running"), "running")
    for pin, each in (("U5.Y", found["U5.Y pressed"]), ("U3.EN", found["U3.EN pressed"])):
        assert (each.probe.place, each.probe.state) == ("EN_BLOWER", "running")
        assert each.seconds == plain + WORK_SECONDS[Pressed] + reach.seconds.get(pin, REACH_SECONDS)


def test_power_states_are_gone_through_in_their_order() -> None:
    """From off to the last state all waits of the file add up; large capacitors are drained on the way down."""
    assert state_seconds(FAN, "running", "running") == 0
    step = state_seconds(FAN, "battery", "flap_shut")
    assert state_seconds(FAN, "off", "flap_shut") == state_seconds(FAN, "off", "battery") + step
    small = read_circuit(library()["inverting_npn"])
    states = list(small.power_states)
    assert state_seconds(FAN, "running", "off") > state_seconds(small, states[-1], "off")


def test_a_forced_net_is_spared() -> None:
    """The resistor keeps the current into a driver that holds the net down to 5 mA."""
    for volts in (0.0, 1.8, 3.3, 5.0, 12.0, 24.0):
        forced = force("EN", volts)
        assert forced.volts is not None
        assert forced.volts / forced.ohms <= 5e-3


def test_a_limit_stays_on_whatever_is_read() -> None:
    """With a supply limited, every powered reading is written so; once it is set, it takes no more time."""
    limited = (Limited(supply="VBAT", amps=1.2),)
    for now in ("off", "battery"):
        found = offers(FAN, now=now, limits=limited)
        assert all(("VBAT limited 1.2A" in map(str, each.probe.interventions)) == (each.probe.state != "off")
                   for each in found)  # fmt: skip
    plain = {each.probe: each.seconds for each in offers(FAN, now="battery")}
    for each in found:
        assert each.seconds == pytest.approx(plain[each.probe.model_copy(update={"interventions": ()})])
    once_more = again(FAN, found[0].probe, "battery", "doubtful")
    assert (once_more.seconds, once_more.again) == (found[0].seconds, "doubtful")

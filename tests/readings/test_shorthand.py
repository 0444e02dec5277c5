"""Bench shorthand in and out."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from seqsim.circuit import Circuit
from seqsim.errors import ReadingError, SeqsimError, UnknownPlaceError
from seqsim.quantity import Unit
from seqsim.readings import KINDS, Reading, format_reading, parse_reading
from seqsim.readings.interventions import Forced, Intervention, Jumpered, Lifted, Limited, Pressed, Pulled, Removed
from seqsim.readings.shorthand import last_digit

GOOD: list[tuple[str, dict[str, Any]]] = [
    ("EN 0.02", {"kind": "volts", "place": "EN", "value": 0.02, "resolution": 0.01, "state": "running"}),
    ("Q1.B 602mV", {"place": "Q1.B", "value": 0.602, "resolution": 0.001}),
    ("R3.1 to R3.2 18mV", {"place": "R3.1", "to": "R3.2", "value": 0.018}),
    ("BASE 9k2 ohm", {"kind": "ohms", "value": 9200.0, "resolution": 100.0, "state": "off"}),
    ("BASE 9k2 Ω", {"kind": "ohms", "value": 9200.0}),
    ("BASE 4R7", {"kind": "ohms", "value": 4.7, "resolution": 0.1}),
    ("BASE 12 kΩ", {"kind": "ohms", "value": 12000.0, "resolution": 1000.0}),
    ("V12 diode 0.41", {"kind": "diode", "value": 0.41, "to": None, "state": "off"}),
    ("GND to V12 diode 0.41", {"kind": "diode", "place": "GND", "to": "V12"}),
    ("V12 diode OL", {"kind": "diode", "value": "OL"}),
    ("V12 ohm OL", {"kind": "ohms", "value": "OL"}),
    ("V12 O.L. ohm", {"kind": "ohms", "value": "OL"}),
    ("R1.2 to Q1.B beep", {"kind": "continuity", "place": "R1.2", "to": "Q1.B", "value": "beep"}),
    ("R1.2 to Q1.B no beep", {"kind": "continuity", "value": "silent"}),
    ("VIA3 OL", {"kind": "continuity", "place": "VIA3", "value": "OL", "state": "off"}),
    ("VIA3 beep", {"kind": "continuity", "place": "VIA3", "to": None, "value": "beep"}),
    ("VIA3 0.3 ohm", {"kind": "ohms", "place": "VIA3", "value": 0.3}),
    ("EN high", {"kind": "logic", "value": "high", "state": "running"}),
    ("EN floats", {"kind": "logic", "value": "floating"}),
    ("VBAT 0.35A", {"kind": "current", "place": "VBAT", "value": 0.35}),
    ("VBAT 350 mA", {"kind": "current", "value": 0.35, "resolution": 0.001}),
    ("VBAT limit", {"kind": "current", "value": "limit"}),
    ("vbat in limit @battery", {"kind": "current", "place": "VBAT", "value": "limit", "state": "battery"}),
    ("VBAT 12.1", {"kind": "volts", "place": "V12", "value": 12.1}),
    ("START 3.3", {"kind": "volts", "place": "START"}),
    ("START 2mA", {"kind": "current", "place": "START"}),
    ("EN about 2", {"value": 2.0, "about": True}),
    ("EN ~2", {"value": 2.0, "about": True}),
    ("EN 0.1..0.3", {"value": (0.1, 0.3), "resolution": None}),
    ("EN 100..300mV", {"value": (0.1, 0.3)}),
    ("EN 100mV .. 0.3V", {"value": (0.1, 0.3)}),
    ("BASE 1k..2k ohm", {"kind": "ohms", "value": (1000.0, 2000.0)}),
    ("Q1 hot", {"kind": "hot", "place": "Q1", "value": "hot"}),
    ("en 3.30V @BATTERY", {"place": "EN", "value": 3.3, "resolution": 0.01, "state": "battery"}),
    ("EN@battery 3.3", {"place": "EN", "value": 3.3, "state": "battery"}),
    ("EN = 3.3", {"place": "EN", "value": 3.3}),
    ("EN: 3.3", {"place": "EN", "value": 3.3}),
    ("  EN   3.3 V  ", {"place": "EN", "value": 3.3, "resolution": 0.1}),
    ("EN -0.3", {"value": -0.3}),
    ("EN 0.02 # flickers a little", {"value": 0.02, "note": "flickers a little"}),
    ("EN# 6.0", {"place": "EN#", "value": 6.0, "note": ""}),
    ("EN 0 @off", {"value": 0.0, "state": "off", "resolution": 1.0}),
    ("+3V3 3V3", {"place": "+3V3", "value": 3.3, "resolution": 0.1}),
    ("Q1.B/pad 0.7", {"place": "Q1.B/pad"}),
    ("Q1.1 0.7", {"place": "Q1.B"}),
    ("EN 1.5e-1", {"value": 0.15, "resolution": 0.01}),
    ("EN 0.4 with BASE forced 3.3V 1k", {"interventions": (Forced(place="BASE", volts=3.3, ohms=1000.0),)}),
    ("EN 0.4 with BASE forced V12 10k", {"interventions": (Forced(place="BASE", source="V12", ohms=1e4),)}),
    ("EN 0.4 with BASE jumpered to GND", {"interventions": (Jumpered(place="BASE", to="GND"),)}),
    ("EN 0.4 with R1 lifted", {"interventions": (Lifted(pin="R1.1"),)}),
    ("EN 0.4 with Q1.B lifted", {"interventions": (Lifted(pin="Q1.B"),)}),
    ("EN 0.4 with Q1.B pressed", {"interventions": (Pressed(pin="Q1.B"),)}),
    ("EN 0.4 with q1.b/pad pressed", {"interventions": (Pressed(pin="Q1.B"),)}),
    ("VBAT not in limit", {"kind": "current", "value": "no limit"}),
    ("R1.1 to R1.2 10k ohm with R1 removed", {"kind": "ohms"}),
    ("EN 0.4 with Q1 removed", {"interventions": (Removed(part="Q1", pins=("Q1.B", "Q1.C", "Q1.E")),)}),
    ("EN 0.4 with R4 pulled", {"interventions": (Pulled(part="R4", pins=("R4.1", "R4.2")),)}),
    ("EN 0.4 with START pulled", {"interventions": (Pulled(part="START", pins=(), supply=True),)}),
    ("EN 0.4 with VBAT limited 0.5A", {"interventions": (Limited(supply="VBAT", amps=0.5),)}),
    ("START limit with START limited to 5 mA", {"value": "limit"}),
    (
        "EN 0.4 @running with R1 lifted and VBAT limited 0.5A # slow",
        {"interventions": (Lifted(pin="R1.1"), Limited(supply="VBAT", amps=0.5)), "note": "slow", "state": "running"},
    ),
]


@pytest.mark.parametrize(("text", "fields"), GOOD, ids=[text for text, _ in GOOD])
def test_a_reading_is_understood(board: Circuit, text: str, fields: dict[str, Any]) -> None:
    """The pieces are those that were meant, and writing the reading back loses none of them."""
    reading = parse_reading(board, text)
    for name, expected in fields.items():
        got = getattr(reading, name)
        assert got == (
            pytest.approx(expected, rel=1e-12) if isinstance(expected, float | tuple) and name == "value" else expected
        ), name
    assert same(parse_reading(board, format_reading(reading)), reading)


def same(one: Reading, other: Reading) -> bool:
    """Tell whether two readings differ in nothing but where they were written."""
    apart = {"text": "", "file": None, "line": None}
    return one.model_copy(update=apart) == other.model_copy(update=apart)


BAD: list[tuple[str, type[SeqsimError], str]] = [
    ("", ReadingError, "names no place; write place and value, like EN 0.02"),
    ("   # only a note", ReadingError, "names no place"),
    ("EN", ReadingError, "'EN' has no value; write it like EN 0.02"),
    ("VIA3", ReadingError, "write it like VIA3 beep"),
    ("ENN 0.02", UnknownPlaceError, "called 'ENN'; did you mean EN or"),
    ("Q1.X 0.02", UnknownPlaceError, "Q1 has no pin 'X'"),
    ("Q1 0.6", UnknownPlaceError, "Q1 is a part; name one of its pins"),
    ("EN to", ReadingError, "names no second place"),
    ("EN to 0.02", UnknownPlaceError, "called '0.02'"),
    ("EN to QQ1 0.02", UnknownPlaceError, "'QQ1'"),
    ("GND 0.1", ReadingError, "both tips are on 'GND'"),
    ("EN to EN 0.1", ReadingError, "both tips are on 'EN'"),
    ("EN nan", ReadingError, "'nan' is no value"),
    ("EN inf", ReadingError, "'inf' is no value"),
    ("EN 1e99", ReadingError, "the meter reads up to 1 kV"),
    ("EN 1e999", ReadingError, "'1e999' is no value"),
    ("EN 9k2", ReadingError, "for ohms write their word, like 9k2 ohm"),
    ("EN -5 ohm", ReadingError, "charge is left"),
    ("EN diode -0.4", ReadingError, "charge is left"),
    ("EN diode 3.2", ReadingError, "write diode OL"),
    ("EN 100M ohm", ReadingError, "shows OL; write OL ohm"),
    ("EN 3,3", ReadingError, "has a comma; write it like EN 3.3"),
    ("EN 1 2", ReadingError, "'1 2' is more than one value"),
    ("EN 3.3 Q", ReadingError, "'3.3 Q' is no value"),
    ("EN hgh", ReadingError, "did you mean high?"),
    ("EN OL", ReadingError, "does not tell which function of the meter showed it"),
    ("EN volts OL", ReadingError, "a reading of volts does not show 'OL'"),
    ("EN ohm diode 5", ReadingError, "'diode' contradicts"),
    ("EN 0.3..0.1", ReadingError, "does not rise"),
    ("EN 0.1..0.2..0.3", ReadingError, "is not a range"),
    ("EN ..0.3", ReadingError, "is not a range"),
    ("EN about 0.1..0.3", ReadingError, "a range is not 'about' something"),
    ("EN about high", ReadingError, "'about' does not go with 'high'"),
    ("EN about", ReadingError, "'about' is no value"),
    ("EN logic 3.3", ReadingError, "'3.3' is none of high or low or floating or pulsing"),
    ("EN 2 @runing", UnknownPlaceError, "no power state 'runing'; did you mean running?"),
    ("EN 2 @", ReadingError, "no power state follows the @"),
    ("EN 2 @off @running", ReadingError, "two power states"),
    ("EN 10k ohm @running", ReadingError, "needs the power off, and 'running' is not"),
    ("VBAT 1A @off", ReadingError, "no current to read in 'off'"),
    ("START 1mA @battery", ReadingError, "'START' is not applied in 'battery'; name a state that applies it"),
    ("START limit", ReadingError, "'START' has no current limit"),
    ("V12 0.35A", UnknownPlaceError, "did you mean VBAT?"),
    ("VBAT to GND 0.35A", ReadingError, "not between two places"),
    ("EN hot", UnknownPlaceError, "hot is read at a part, and 'EN' is none"),
    ("VIA3 2.5", ReadingError, "put the tip on one of them; write it like R1.2 2.5"),
    ("VIA3 to GND 2.5", ReadingError, "'VIA3' is copper between R1.2 and Q1.B"),
    ("EN 2 with", ReadingError, "nothing follows 'with'"),
    ("EN 2 with magic", ReadingError, "does not say what was done"),
    ("EN 2 with R1 liftd", ReadingError, "did you mean lifted or limited?"),
    ("EN 2 with Q1 lifted", ReadingError, "has 3 pins: say which one is lifted; write it like Q1.B lifted"),
    ("EN 2 with EN lifted", ReadingError, "neither a pin nor a part with two pins"),
    ("EN 2 with R77 removed", ReadingError, "no part called 'R77'"),
    ("EN 2 with J3 pulled", ReadingError, "no connector or supply called 'J3'"),
    ("EN 2 with R1 lifted twice", ReadingError, "'twice' after 'R1 lifted' is not understood"),
    ("EN 2 with EN forced 3.3V", ReadingError, "needs a voltage or place and a resistor"),
    ("EN 2 with EN forced 3.3V 0R", ReadingError, "a force through 0R is not possible"),
    ("EN 2 with EN forced 5kV 1k", ReadingError, "at most 1000 V"),
    ("EN 2 with EN forced QQ 1k", UnknownPlaceError, "'QQ'"),
    ("EN 2 with V12 limited 1A", ReadingError, "no supply called 'V12'"),
    ("EN 2 with VBAT limited lots", ReadingError, "'lots' is not a current limit"),
    ("EN 2 with EN jumpered GND", ReadingError, "needs the other end of the wire"),
    ("EN 2 with EN jumpered to EN", ReadingError, "both ends of the wire"),
    ("EN 2 with R1 lifted and R1.1 lifted", ReadingError, "named by two interventions"),
    ("EN 2 with lifted", ReadingError, "'lifted' must follow one name"),
    ("Q11 hot", UnknownPlaceError, "hot is read at a part, and 'Q11' is none; did you mean Q1"),
    ("Q1 hott", ReadingError, "did you mean hot?"),
    ("Q1.B hot", UnknownPlaceError, "did you mean Q1?"),
    ("Q1 hot @off", ReadingError, "there is no hot to read in 'off'; name a powered state"),
    ("Q1 hot and cold", ReadingError, "'hot and cold' says two things; write one reading for each"),
    ("Q1 hot 85", ReadingError, "'hot 85' says two things"),
    ("Q1 85", UnknownPlaceError, "name one of its pins"),
    ("VIA3 hot", UnknownPlaceError, "hot is read at a part"),
    ("EN pulsng", ReadingError, "did you mean pulsing?"),
    ("EN pulsing 3V", ReadingError, "'pulsing 3V' says two things"),
    ("EN pulsing @off", ReadingError, "nothing pulses in 'off'"),
    ("VIA3 pulsing", ReadingError, "put the tip on one of them; write it like R1.2 pulsing"),
    ("VBAT limt", ReadingError, "did you mean limit"),
    ("VBAT limit 0.3A", ReadingError, "'limit 0.3A' says two things"),
    ("VBAT limit @off", ReadingError, "there is no current to read in 'off'"),
    ("VBAT 35A", ReadingError, "35 A is more than 'VBAT' gives, whose limit is"),
    ("VBAT 0.35 mA V", ReadingError, "is no value"),
    ("VBATT 0.35A", UnknownPlaceError, "did you mean VBAT?"),
    ("EN 0.02 A", UnknownPlaceError, "current is read at a supply, and 'EN' is none"),
    ("VBAT 1A with VBAT pulled", ReadingError, "'VBAT' is pulled, so it delivers nothing"),
    ("VBAT limit with VBAT limited -1A", ReadingError, "a limit of -1A is not possible"),
    ("VBAT limit with VBAT limited 1V", ReadingError, "'1V' is not a current limit"),
    ("EN 1 with EN forced 3.3V -1k", ReadingError, "a force through -1k is not possible"),
    ("EN 1 with EN forced EN 1k", ReadingError, "both ends of the resistor are on 'EN'"),
    ("EN 1 with GND forced 3.3V 1k", ReadingError, "'GND' is ground and cannot be forced"),
    ("EN 1 with EN forced 3.3V 1k and EN forced 5V 1k", ReadingError, "named by two interventions"),
    ("V12 10k ohm with EN forced 3.3V 1k", ReadingError, "ohms is read without power, and a force is power"),
    ("EN 1 with R1 removed and R1.2 lifted", ReadingError, "R1 is off the board, so R1.2 cannot be lifted"),
    ("R1.1 1 with R1 removed", ReadingError, "put the tip on its pad; write it like R1.1/pad"),
    ("Q1 hot with Q1 removed", ReadingError, "Q1 is off the board, so it cannot be hot"),
    ("EN 1 with EN pressed", ReadingError, "'EN' is no pin with a joint to press; write it like U5.Y pressed"),
    ("EN 2 #note", ReadingError, "'2 #note' is no value"),
    ("EN \x00\x01", ReadingError, "is no line of shorthand"),
    ("EN " + "9" * 600, ReadingError, "is no line of shorthand"),
]


@pytest.mark.parametrize(("text", "error", "fragment"), BAD, ids=[repr(text[:40]) for text, _, _ in BAD])
def test_what_is_not_understood_is_named(board: Circuit, text: str, error: type[SeqsimError], fragment: str) -> None:
    """The message is one sentence on one line that names what is wrong, with file and line if there are any."""
    with pytest.raises(error) as caught:
        parse_reading(board, text, file="bench.yaml", line=7)
    message = str(caught.value)
    assert fragment in message
    assert message.startswith("bench.yaml:7: ")
    assert "\n" not in message
    assert len(message) < 320
    assert caught.value.line == 7


@pytest.mark.parametrize(
    ("text", "unit", "digit"),
    [
        ("602mV", Unit.VOLT, 1e-3), ("9k2", Unit.OHM, 100), ("10k", Unit.OHM, 1000), ("4R7", Unit.OHM, 0.1),
        ("3V3", Unit.VOLT, 0.1), ("0.020", Unit.VOLT, 1e-3), ("5.", Unit.VOLT, 1), ("1.5e3", Unit.OHM, 100),
        ("-.25", Unit.VOLT, 0.01), ("1e3", Unit.OHM, 1000), ("1.20M", Unit.OHM, 1e4),
    ],
)  # fmt: skip
def test_the_last_digit_written_counts(text: str, unit: Unit, digit: float) -> None:
    """The spread of a reading includes the last digit typed."""
    assert last_digit(text, unit) == pytest.approx(digit)


PLACES = st.sampled_from(["EN", "BASE", "V12", "+3V3", "EN#", "Q1.C", "R1.2", "R1.2/pad"])
NOTES = st.lists(st.text("abcxyz#@.,0123", min_size=1, max_size=6), max_size=3).map(" ".join)
INTERVENTIONS: st.SearchStrategy[Intervention] = st.one_of(
    st.builds(Forced, place=PLACES, volts=st.floats(-30, 30), ohms=st.floats(1, 1e6)),
    st.builds(Forced, place=st.just("BASE"), source=st.just("V12"), ohms=st.floats(1, 1e6)),
    st.just(Jumpered(place="EN", to="GND")),
    st.sampled_from([Lifted(pin="R1.1"), Lifted(pin="Q1.B")]),
    st.just(Removed(part="Q1", pins=("Q1.B", "Q1.C", "Q1.E"))),
    st.just(Pulled(part="START", pins=(), supply=True)),
    st.builds(Limited, supply=st.just("VBAT"), amps=st.floats(1e-3, 100)),
    st.sampled_from([Pressed(pin="R1.2"), Pressed(pin="Q1.B")]),
)


def together(reading: Reading) -> bool:
    """Tell whether all that was done and read goes together: no pin of a part that is off the board, and the like."""
    off = any(isinstance(each, Removed) and each.part == "Q1" for each in reading.interventions)
    at = {reading.place, *(each.subject for each in reading.interventions if isinstance(each, Lifted))}
    forced = any(isinstance(each, Forced) for each in reading.interventions)
    live = KINDS[reading.kind].live
    return not (off and live and at & {"Q1", "Q1.C"}) and not (off and "Q1.B" in at) and not (forced and not live)


@st.composite
def readings(draw: st.DrawFn) -> Reading:
    kind = draw(st.sampled_from(list(KINDS.values())))
    place, to = draw(PLACES), draw(st.none() | st.just("GND"))
    if kind.name in ("current", "hot"):
        place, to = ("VBAT" if kind.name == "current" else "Q1"), None
    elif kind.name == "continuity" and draw(st.booleans()):
        place, to = "VIA3", None
    given_: dict[str, Any] = {}
    if kind.numeric and (not kind.shows or draw(st.booleans())):
        most = {"volts": 999.0, "ohms": 3e7, "diode": 2.8, "continuity": 390.0, "current": 2.9}[kind.name]
        if draw(st.booleans()):
            low = draw(st.floats(0, most / 2))
            given_["value"] = (low, draw(st.floats(low, most, exclude_min=True)))
        else:
            exponent = draw(st.integers(-6, 4 if kind.name == "ohms" else -1))
            count = draw(st.integers(0, min(int(most / 10.0**exponent), 99_999)))
            sign = -1 if kind.name == "volts" and draw(st.booleans()) else 1
            given_ |= {"value": sign * float(f"{count}e{exponent}"), "resolution": 10.0**exponent}
            given_["about"] = draw(st.booleans())
    else:
        given_["value"] = draw(st.sampled_from(sorted(set(kind.shows.values()))))
    done = draw(st.lists(INTERVENTIONS, max_size=3, unique_by=lambda each: each.subject))
    state = draw(st.sampled_from(["battery", "running"])) if kind.live else "off"
    made = Reading(
        kind=kind.name, place=place, to=to, state=state, interventions=tuple(done), note=draw(NOTES), **given_
    )
    assume(together(made))
    return made


@settings(max_examples=300, deadline=None)
@given(reading=readings())
def test_writing_and_reading_back_changes_nothing(board: Circuit, reading: Reading) -> None:
    """Any reading, written in shorthand, is read as itself: exactly but for the value of a prefix."""
    back = parse_reading(board, format_reading(reading))
    if isinstance(reading.value, float):
        assert back.value == pytest.approx(reading.value, rel=1e-12, abs=1e-15)
        assert back.resolution == pytest.approx(reading.resolution, rel=1e-9)
        back = back.model_copy(update={"value": reading.value, "resolution": reading.resolution})
    assert same(back, reading)
    # what was read once is then written and read exactly
    again = parse_reading(board, format_reading(back))
    assert format_reading(again) == format_reading(back)


WORDS = [
    "EN",
    "Q1",
    "VIA3",
    "to",
    "with",
    "@",
    "@off",
    "and",
    "#",
    "3.3",
    "1e5",
    "..",
    "about",
    "ohm",
    "diode",
    "OL",
    "beep",
    "lifted",
    "forced",
    "1k",
    "=",
    ":",
    "~",
    "hot",
    "limit",
    "VBAT",
    "limited",
    "0.1..0.3",
    "-",
    "pulled",
    "/pad",
]
LINES = st.text(max_size=40) | st.lists(st.sampled_from(WORDS), max_size=8).map(" ".join)


@settings(max_examples=300, deadline=None)
@given(text=LINES)
def test_no_text_is_answered_with_anything_but_a_reading_or_a_sentence(board: Circuit, text: str) -> None:
    """Random lines give a reading, or one of our errors with one line of text."""
    try:
        reading = parse_reading(board, text)
    except (ReadingError, UnknownPlaceError) as error:
        message = str(error)
        assert message
        assert "\n" not in message
    else:
        assert same(parse_reading(board, format_reading(reading)), reading)

"""What a person types finds its place on the board, or what comes close."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from seqsim.circuit import Circuit, PlaceKind, parse_circuit, resolve_place
from seqsim.errors import UnknownPlaceError

PLACES = {
    "EN": ("EN", PlaceKind.NET, ("EN",), "EN"),
    " EN ": ("EN", PlaceKind.NET, ("EN",), "EN"),
    "en": ("EN", PlaceKind.NET, ("EN",), "EN"),
    "GND": ("GND", PlaceKind.NET, ("GND",), "GND"),
    "Q1.B": ("Q1.B", PlaceKind.PIN, ("Q1.B",), "Q1_BASE"),
    "q1.b": ("Q1.B", PlaceKind.PIN, ("Q1.B",), "Q1_BASE"),
    "Q1.2": ("Q1.C", PlaceKind.PIN, ("Q1.C",), "EN"),
    "R1.2": ("R1.2", PlaceKind.PIN, ("R1.2",), "Q1_BASE"),
    "R1.2/pad": ("R1.2/pad", PlaceKind.PAD, ("R1.2/pad",), "Q1_BASE"),
    "Q1.1/pad": ("Q1.B/pad", PlaceKind.PAD, ("Q1.B/pad",), "Q1_BASE"),
    "VIA1": ("VIA1", PlaceKind.COPPER, ("R1.2", "Q1.B"), "Q1_BASE"),
    "VBAT": ("VBAT", PlaceKind.SUPPLY, ("VBAT:entry",), "V12"),
    "START": ("START", PlaceKind.NET, ("START",), "START"),
}


@pytest.mark.parametrize("text", PLACES)
def test_a_place_is_found(text: str, board_text: str) -> None:
    """Nets, pins by name and number, pads, copper and supplies; a net goes before a supply of its name."""
    place = resolve_place(parse_circuit(board_text), text)
    assert (place.name, place.kind, place.points, place.net) == PLACES[text]


UNKNOWN = {
    "ENN": "no net, pin, copper or supply called 'ENN'; did you mean EN",
    "VIA2": "did you mean VIA1",
    "Q1.X": "Q1 has no pin 'X'; known are B, C, E",
    "Q1.4": "Q1 has no pin '4'",
    "Q9.B": "did you mean Q1.B",
    "Q1": "Q1 is a part; name one of its pins: Q1.B, Q1.C, Q1.E",
    "EN/pad": "'EN/pad' is no pad, because EN is a net",
    "": "a place is missing",
}


@pytest.mark.parametrize("text", UNKNOWN)
def test_an_unknown_place_is_told_with_what_comes_close(text: str, board_text: str) -> None:
    """One sentence that says what there is instead."""
    with pytest.raises(UnknownPlaceError) as caught:
        resolve_place(parse_circuit(board_text), text)
    assert UNKNOWN[text] in str(caught.value)


def test_case_decides_only_where_it_must(build: Callable[..., Circuit]) -> None:
    """Names that differ in case alone must be written exactly."""
    circuit = build("""
        R1: {kind: resistor, ohms: 1k, pins: [V5, En]}
        R2: {kind: resistor, ohms: 1k, pins: [En, EN]}
    """)
    assert resolve_place(circuit, "EN").name == "EN"
    assert resolve_place(circuit, "En").name == "En"
    with pytest.raises(UnknownPlaceError, match="'en' may mean En or EN; write it exactly"):
        resolve_place(circuit, "en")


def test_numbers_follow_the_pin_order(build: Callable[..., Circuit]) -> None:
    """`pin_order` numbers the pins, else the order in which the part lists them."""
    circuit = build("""
        Q1: {kind: npn, pin_order: [E, C, B], pins: [BASE, COLL, GND]}
        Q2: {kind: npn, pins: {C: COLL, B: BASE, E: GND}}
    """)
    assert [resolve_place(circuit, f"Q1.{k}").name for k in (1, 2, 3)] == ["Q1.E", "Q1.C", "Q1.B"]
    assert [resolve_place(circuit, f"Q2.{k}").name for k in (1, 2, 3)] == ["Q2.C", "Q2.B", "Q2.E"]

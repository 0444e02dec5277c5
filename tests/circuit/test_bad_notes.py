"""Contradictory, misspelt and half-finished notes: each told in one sentence with its lines and its mend."""

from __future__ import annotations

import pytest

from seqsim.circuit import CircuitErrors
from seqsim.circuit.notes_compile import parse_notes

GOOD = """\
target EN
V5 5.02
R9 4k7 1=V5 2=EN
Q7 npn C=EN E=gnd
"""

CONTRADICTIONS: dict[str, tuple[str, int, int, str]] = {
    # name: lines that follow the good ones, line of the error, the other line that it names, words of the sentence
    "two values": ("R9 10k", 5, 3, "R9 is 4k7 or 10k; keep one, or write R9 ? if you doubt both"),
    "two kinds": ("Q7 pnp", 5, 4, "Q7 is npn or pnp"),
    "two voltages": ("V5 3.3", 5, 2, "V5 is 5.02 or 3.3; keep the one that you measured last"),
    "two targets": ("target Q7.B", 5, 1, "the target is EN or Q7.B"),
    "a supply on ground": ("R9.1 = gnd", 5, 3, "make V5 (line 2, 'V5 5.02') one with ground"),
    "two supplies on one net": ("V3 3.3\nR9.1 = V3", 6, 3, "one with supply V5 (line 2)"),
    "beeps and does not": ("R9.2 not Q7.C", 5, 4, "R9.2 and Q7.C beep by lines 3, 4, and do not"),
    "does not and beeps": ("R1 1k 1=V5\nR1.2 not Q7.1\nQ7.1 = R1.2", 7, 6, "R1.2 and Q7.1 beep, and do not"),
    "two states of one name": ("state run: V5\nstate run:", 6, 5, "power state run is described twice"),
    "two packages": ("Q7 sot23\nQ7 to92", 6, 5, "Q7 has one package"),
    "two families": ("U5 and family=lvc A=EN\nU5 family=hc", 6, 5, "family of U5 is lvc or hc"),
}

MISTAKES: dict[str, tuple[str, int, str]] = {
    # name: line that follows the good ones, line of the error, words of the sentence
    "misspelt kind": ("R3 resistr 10k 1=V5", 5, "did you mean resistor"),
    "misspelt transistor": ("Q4 npm B=EN", 5, "did you mean pnp or npn?"),
    "misspelt supply": ("state run: V55", 5, "'V55', which is no supply; did you mean V5?"),
    "no quantity": ("R3 10q 1=V5 2=EN", 5, "'10q' is not a value in Ω; write it like 10k"),
    "volts in words": ("V12 high", 5, "'high' is no volts, kind or contact"),
    "unknown part": ("HEATER.1 = EN", 5, "there is no part HEATER; known are R9, Q7; describe it"),
    "half a pin": ("R3 10k 1=", 5, "'1=' of R3 is half written; write it like 1=R12.2"),
    "half a contact": ("R9.2 =", 5, "names one end only; write a fact like"),
    "a word": ("frobnicate", 5, "says nothing yet; write a fact like"),
    "half a stage": ("Q3 inverts EN from G7, pulled by R9", 5, "'pulled by R9' of this stage is not understood"),
    "pull-up to nowhere": ("Q3 inverts EN from G7, pull-up R9", 5, "where does the pull-up R9 go?"),
    "switch without control": ("M1 switches VOUT from V5", 5, "what controls M1?"),
    "a reading": ("Q7.1 0.6", 5, "so this is a reading; write it as: read Q7.1 0.6"),
    "a part as an end": ("R9 = EN", 5, "R9 is a part; name one of its pins, like R9.1"),
    "a third leg of a resistor": ("R9 3=EN", 5, "part R9 has no pin '3'; known are 1, 2"),
    "a pin twice": ("R9 1=V5 1=EN", 5, "pin 1 of R9 stands twice in one line"),
    "no name": ("EN = a/b", 5, "the name 'a/b' has '/'"),
    "a value that the kind lacks": ("Q7 5%", 5, "part Q7 (npn) has no key 'tolerance'"),
    "an endless line": ("x" * 600, 5, "write one fact a line"),
    "a control character": ("R3\x07 1=V5", 5, "this is no line of notes"),
    "copper without pins": ("EN = V5X via VIA3", 5, "which pins does VIA3 cut off?"),
    "a reading of the target": ("EN 0.02", 5, "EN is the target, and no supply; write what it reads as: read EN 0.02"),
    "volts missing": ("supply VBAT", 5, "how many volts is VBAT?"),
}


@pytest.mark.parametrize("name", CONTRADICTIONS)
def test_contradictions_show_both_lines(name: str) -> None:
    """The later line and the earlier one stand in the sentence, each with its number."""
    lines, at, other, words = CONTRADICTIONS[name]
    text = GOOD + lines
    with pytest.raises(CircuitErrors) as caught:
        parse_notes(text, "board.notes")
    told = [error for error in caught.value.errors if words in error.message]
    assert len(told) == 1, [str(error) for error in caught.value.errors]
    written = text.splitlines()
    assert told[0].line == at
    assert f"'{written[at - 1]}'" in told[0].message
    assert f"line {other}, '{written[other - 1]}'" in told[0].message


@pytest.mark.parametrize("name", MISTAKES)
def test_mistakes_are_told_with_their_line(name: str) -> None:
    """One sentence with file, line and mend."""
    line, at, words = MISTAKES[name]
    with pytest.raises(CircuitErrors) as caught:
        parse_notes(GOOD + line, "board.notes")
    (error,) = caught.value.errors
    assert (error.file, error.line) == ("board.notes", at)
    assert words in error.message
    assert "\n" not in error.message
    assert str(error).isprintable()


def test_all_errors_in_one_pass() -> None:
    """What is wrong is collected, in the order of the lines."""
    with pytest.raises(CircuitErrors) as caught:
        parse_notes(GOOD + "R9 10k\nfrobnicate\nQ7 pnp\n", "board.notes")
    assert [error.line for error in caught.value.errors] == [5, 6, 7]


def test_empty_notes() -> None:
    """Notes without a part say how to begin."""
    with pytest.raises(CircuitErrors, match="the notes have no part yet; write one, like R12 10k 1=V5"):
        parse_notes("# nothing yet\n\n")


def test_doubt_is_no_contradiction() -> None:
    """A question mark gives way to what is known, in either order."""
    for lines in ("R3 ? 1=V5\nR3 10k", "R3 10k 1=V5\nR3 ?", "R3 22k? 1=V5\nR3 10k"):
        assert parse_notes(GOOD + lines).parts["R3"].ohms == 10e3  # type: ignore[attr-defined]
    for lines in ("Q3 npn? 1=R9.2 3=EN\nQ3 nmos", "Q3 nmos 1=R9.2 3=EN\nQ3 npn?"):
        assert parse_notes(GOOD + lines).parts["Q3"].kind == "nmos"

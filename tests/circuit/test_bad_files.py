"""Every kind of mistake in a circuit file gets one sentence with its line and its mend."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest

from seqsim.circuit import CircuitErrors, parse_circuit
from seqsim.errors import CircuitError

Change = Callable[[str, str], str]

MISTAKES: dict[str, tuple[str, str, int, str]] = {
    # name: what is replaced, by what, line of the error, words that its sentence must have
    "no format": ("format: 1\n", "", 1, "begin it with `format: 1`"),
    "another format": ("format: 1", "format: 2", 1, "this version reads format 1"),
    "unknown section": ("power_states:", "power_state:", 6, "did you mean power_states"),
    "section twice": ("target: EN", "target: EN\ntarget: V5", 21, "'target' twice, first on line 20"),
    "section of the wrong form": ("  - {monotonic: V5}", "  monotonic: V5", 24, "must be a list"),
    "parts of the wrong form": ("  SW1: {kind: switch, pins: [EN, GND]}", "  SW1: switch", 15, "must be a mapping"),
    "unknown kind": ("kind: switch", "kind: swich", 15, "unknown kind 'swich'; did you mean switch"),
    "no kind": ("kind: switch, ", "", 15, "has no kind; write one, like `kind: resistor`"),
    "part twice": ("  R2: {", "  R1: {", 11, "parts has 'R1' twice, first on line 10; remove or rename one"),
    "empty part": ("  SW1: {kind: switch, pins: [EN, GND]}", "  SW1:", 15, "is empty; give it a kind and pins"),
    "unknown key": ("tolerance: 1%", "tolerence: 1%", 13, "no key 'tolerence'; did you mean tolerance"),
    "key twice": ("tolerance: 1%", "ohms: 1k", 13, "'ohms' twice"),
    "no space after a colon": ("tolerance: 1%", "tolerance:1%", 13, "put a space after the colon"),
    "value missing": ("ohms: 100k, ", "", 11, "ohms (resistance) is missing; add it, or write `ohms: ?`"),
    "empty value": ("ohms: 100k", "ohms: ''", 11, "ohms"),
    "no quantity": ("ohms: 100k", "ohms: lots", 11, "'lots' is not a value in Ω; write it like 10k"),
    "wrong unit": ("ohms: 100k", "ohms: 100V", 11, "'100V' is not a value in Ω"),
    "negative ohms": ("ohms: 100k", "ohms: -5", 11, "ohms is -5, but it must be"),
    "infinite ohms": ("ohms: 100k", "ohms: 1e999", 11, "is not a value in Ω"),
    "impossible tolerance": ("tolerance: 1%", "tolerance: 300%", 13, "tolerance is 300%, but it must be"),
    "value is a list": ("ohms: 100k", "ohms: [1k, 2k]", 11, "ohms must be one value, not a list"),
    "values that do not fit": ("kind: regulator", "kind: regulator, enable_hysteresis: 4", 14, "hysteresis must"),
    "unknown word": ("kind: switch", "kind: and, output: opendrain", 15, "must be push-pull or open-drain"),
    "neither true nor false": ("kind: switch", "kind: switch, closed: maybe", 15, "'maybe', but it must be true"),
    "unknown model": ("kind: npn", "kind: npn, model: npn-smal", 12, "did you mean npn-small"),
    "spread of nothing": ("kind: npn", "kind: npn, spread: {gian: 40%}", 12, "no key 'gian'; did you mean gain"),
    "spread that is none": ("kind: npn", "kind: npn, spread: {gain: much}", 12, "spread of gain: 'much'"),
    "no pins": (", pins: [EN, GND]", "", 15, "has no pins; write `pins: [1, 2]`"),
    "too few pins": ("pins: [EN, GND]", "pins: [EN]", 15, "has 1 pins in its list, but its pins are 1 2"),
    "too many pins": ("pins: [EN, GND]", "pins: [EN, GND, V5]", 15, "has 3 pins in its list"),
    "pins of the wrong form": ("pins: [EN, GND]", "pins: EN", 15, "must be a list of nets or a mapping"),
    "unknown pin": ("{B: Q1_BASE", "{BASE: Q1_BASE", 12, "part Q1 has no pin 'BASE'"),
    "pin left out": ("C: EN, E: GND", "C: EN", 12, "part Q1 lacks its pin E; name the net"),
    "pin on two nets": ("C: EN, E: GND", "C: EN, E: GND, B: V5", 12, "pin B of Q1 is on two nets"),
    "pin on a list of nets": ("C: EN,", "C: [EN, V5],", 12, "pin C of Q1 is on two nets"),
    "pin by name and number": ("C: EN, E: GND", "C: EN, E: GND, 2: V5", 12, "pin C of Q1 is on two nets"),
    "pin number too large": ("C: EN, E: GND", "C: EN, E: GND, 4: V5", 12, "has no pin '4'"),
    "net name with a dot": ("[V5, EN]", "[V5, Q1.C]", 13, "the name 'Q1.C' has '.'"),
    "net name with a space": ("[V5, EN]", "[V5, E N]", 13, "has a space, which names cannot have"),
    "net called ?": ("[V5, EN]", "[V5, ?]", 13, "'?' stands for an unknown value"),
    "part name with a slash": ("  SW1: {kind", "  S/W: {kind", 15, "has '/', which names cannot have"),
    "pin order of a stranger": ("kind: npn", "kind: npn, pin_order: [B, X, E]", 12, "which is no connected pin"),
    "pin order with a gap": ("kind: npn", "kind: npn, pin_order: [B, E]", 12, "must name each connected pin once"),
    "supply without volts": ("{volts: 3.3, ohms: 1k}", "{ohms: 1k}", 5, "volts (voltage without load) is missing"),
    "supply key": ("{volts: 3.3, ohms: 1k}", "{volts: 3.3, ohm: 1k}", 5, "no key 'ohm'; did you mean ohms"),
    "supply in another unit": ("{volts: 3.3, ohms: 1k}", "{volts: 3A}", 5, "'3A' is not a value in V"),
    "supply that gives nothing": ("{volts: 3.3, ohms: 1k}", "{volts: 3.3, amps: 0}", 5, "current limit of 0 A"),
    "supply on ground": ("net: V12}", "net: GND}", 4, "lies on GND, which is always 0 V"),
    "supply named as a part": ("  START: {volts", "  R3: {volts", 13, "'R3' names a supply and a part; rename one"),
    "state off": ("  battery: {on", "  off: {on", 7, "state off is always there"),
    "unknown supply": ("on: [VBAT]}", "on: [VBATT]}", 7, "'VBATT', which is no supply; did you mean VBAT"),
    "unknown switch": ("{SW1: closed}", "{SW2: closed}", 8, "which is no part; did you mean SW1"),
    "switch that is none": ("{SW1: closed}", "{R1: closed}", 8, "which is no switch, button or jumper"),
    "switch position": ("{SW1: closed}", "{SW1: up}", 8, "is 'up', but it must be closed or open"),
    "time without meaning": ("after: 50ms", "after: soon", 8, "'soon' is not a value in s"),
    "time before": ("after: 50ms", "after: -1s", 8, "after of power state running is -1s, but it must be"),
    "copper of no net": ("{net: Q1_BASE, cuts", "{net: Q1_BAS, cuts", 17, "did you mean Q1_BASE"),
    "copper without cut": ("cuts_off: [R1.2], ", "", 17, "has no cuts_off; name the pins"),
    "copper that cuts nothing": ("cuts_off: [R1.2], ", "cuts_off: [], ", 17, "is empty; list the pins on one side"),
    "copper that cuts all": ("cuts_off: [R1.2], ", "cuts_off: [R1.2, R2.1, Q1.B], ", 17, "cuts off every pin"),
    "cut pin elsewhere": ("cuts_off: [R1.2]", "cuts_off: [R1.1]", 17, "R1.1, which lies on START and not on Q1_BASE"),
    "cut pin unknown": ("cuts_off: [R1.2]", "cuts_off: [R9.2]", 17, "'R9.2', which is no pin of this board"),
    "touch on one side": ("touch: [R1.2, Q1.B]", "touch: [R2.1, Q1.B]", 17, "one of them in cuts_off and one not"),
    "copper named as a part": ("  VIA1: {net", "  R1: {net", 17, "has the name of a part, net or supply"),
    "rail of no net": ("  V5: {volts: 5, ohms", "  V55: {volts: 5, ohms", 19, "no net of this board; did you mean V5"),
    "rail without volts": ("{volts: 5, ohms: [400, 900]}", "{ohms: [400, 900]}", 19, "rail V5 has no volts"),
    "rail at 0 V": ("{volts: 5, ohms", "{volts: 0, ohms", 19, "could never come up"),
    "range backwards": ("[400, 900]", "[900, 400]", 19, "exchange them"),
    "range of three": ("[400, 900]", "[400, 600, 900]", 19, "must be a range of two values"),
    "ground as a rail": ("  V5: {volts: 5, ohms", "  GND: {volts: 5, ohms", 19, "is always 0 V"),
    "target unknown": ("target: EN", "target: ENN", 20, "'ENN', which is no net of this board; did you mean EN"),
    "target is a pin": ("target: EN", "target: Q1.C", 20, "it is a pin of net EN"),
    "probe point unknown": ("  Q1.B: {seconds", "  Q1.X: {seconds", 22, "Q1 has no pin 'X'"),
    "probe point is a part": ("  Q1.B: {seconds", "  Q1: {seconds", 22, "is a part; name one of its pins: Q1.B, Q1.C"),
    "probe time": ("seconds: 40", "seconds: never", 22, "'never' is not a value in s"),
    "rule unknown": ("{monotonic: V5}", "{monotone: V5}", 24, "did you mean monotonic"),
    "rule without limits": ("{monotonic: V5}", "{rises: V5}", 24, "has no in"),
    "rule with a stranger": ("{monotonic: V5}", "{monotonic: V5, by: 1ms}", 24, "has no key 'by'"),
    "rule on one net": ("{monotonic: V5}", "{never_above: [V5], by: 1V}", 24, "must name two nets"),
    "rule of no net": ("{monotonic: V5}", "{monotonic: V6}", 24, "'V6', which is no net"),
    "rule of two": ("{monotonic: V5}", "{monotonic: V5, off: V5, within: 1s}", 24, "write one rule for each"),
    "ground of another name": ("format: 1\n", "format: 1\ngrounds: [AGND]\n", 2, "must be GND"),
    "ground twice": ("format: 1\n", "format: 1\ngrounds: [GND, GND]\n", 2, "names GND twice"),
    "ground without pins": ("format: 1\n", "format: 1\ngrounds: [GND, ISO]\n", 2, "'ISO', which is no net"),
    "model of nothing": ("format: 1\n", "format: 1\nmodels: {fet: {from: nmos}}\n", 2, "'nmos', which is no model"),
    "model of itself": ("format: 1\n", "format: 1\nmodels: {a: {from: b}, b: {from: a}}\n", 2, "made from itself"),
    "model that exists": ("format: 1\n", "format: 1\nmodels: {npn-small: {gain: 5}}\n", 2, "a built-in model"),
    "model key": ("format: 1\n", "format: 1\nmodels: {x: {from: npn-small, gian: 5}}\n", 2, "did you mean gain"),
    "unclosed bracket": ("pins: [EN, GND]}", "pins: [EN, GND}", 15, "this is not YAML"),
    "tab": ("  R2: {", "\tR2: {", 11, "a tab stands where YAML wants spaces"),
    "tag": ("[V5, EN]", "[V5, !EN]", 13, "needs quotes"),
    "reference to nothing": ("[V5, EN]", "[V5, *EN]", 13, "a name that begins with * needs quotes"),
    "percent sign": ("[V5, EN]", "[V5, %EN]", 13, "a name that begins with % needs quotes"),
    "complex key": ("[EN, GND]", "{[a, b]: GND}", 15, "cannot be a key"),
    "second document": ("parts:\n", "---\nparts:\n", 9, "a second document begins here"),
    "merge key": ("{monotonic: V5}", "{<<: {monotonic: V5}}", 24, "must have one of the keys"),
}  # fmt: skip


def read(text: str | bytes) -> CircuitError:
    with pytest.raises(CircuitError) as caught:
        parse_circuit(text, "board.yaml")
    return caught.value


@pytest.mark.parametrize("name", MISTAKES)
def test_a_mistake_gets_one_sentence_with_its_line_and_its_mend(name: str, changed: Change) -> None:
    """Each mistake alone is told at its line, on one line of text, and says what to do."""
    old, new, line, words = MISTAKES[name]
    error = read(changed(old, new))
    errors = error.errors if isinstance(error, CircuitErrors) else (error,)
    about = [item for item in errors if item.line == line and words in item.message]
    assert about, [str(item) for item in errors]
    for item in errors:
        assert re.fullmatch(r"board\.yaml:\d+: [^\n]{10,400}", str(item)), str(item)
        assert item.file == "board.yaml"


@pytest.mark.parametrize("name", MISTAKES)
def test_a_mistake_causes_few_others(name: str, changed: Change) -> None:
    """One mistake is at most three messages: what it merely leads to is not told."""
    old, new, _, _ = MISTAKES[name]
    error = read(changed(old, new))
    errors = error.errors if isinstance(error, CircuitErrors) else (error,)
    assert len(errors) <= 3, [str(item) for item in errors]


def test_the_unchanged_board_is_good(board_text: str) -> None:
    """The file that the mistakes are made in has none itself."""
    assert set(parse_circuit(board_text).parts) == {"R1", "R2", "Q1", "R3", "U1", "SW1"}


def test_all_mistakes_are_found_in_one_pass(board_text: str) -> None:
    """Mistakes in different sections are all told, in the order of their lines; the first one is the sentence."""
    text = board_text
    for old, new in (
        ("ohms: 100k", "ohms: lots"),
        ("kind: npn", "kind: npm"),
        ("cuts_off: [R1.2]", "cuts_off: [R1.3]"),
        ("target: EN", "target: ENABLE"),
        ("{monotonic: V5}", "{monotonic: VX}"),
    ):
        text = text.replace(old, new)
    error = read(text)
    assert isinstance(error, CircuitErrors)
    assert [item.line for item in error.errors] == [11, 12, 17, 20, 24]
    assert str(error).startswith("board.yaml:11: ")
    assert str(error).endswith("(and 4 more errors; `seqsim check` lists them)")


def test_a_faulty_part_is_not_missed_elsewhere(changed: Change) -> None:
    """Copper, target and probe points that name a part with a mistake are not told as unknown as well."""
    error = read(changed("kind: npn", "kind: npm"))
    assert isinstance(error, CircuitErrors)
    assert len(error.errors) == 1


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "the file is empty"),
        (b"# nothing but a comment\n", "the file is empty"),
        (b"- a\n- b\n", "the file must be a mapping"),
        (b"just words", "the file must be a mapping"),
        (b"format: 1\ntitle: \xff\xfe\n", "not UTF-8"),
        (b"format: 1\ntitle: a\x00b\n", "a character that YAML does not allow"),
        (b"%YAML 1.1\n---\nformat: 1\n", "another version of YAML"),
        (b"format: 1\n", "the circuit file has no parts"),
    ],
)
def test_what_is_no_circuit_at_all_is_told(content: bytes, words: str) -> None:
    """Empty, binary and other files get a sentence, not a traceback."""
    assert words in str(read(content))

"""The words of notes: kinds of parts, packages, letters of designators, and how sure they make one."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from seqsim.network import GROUND
from seqsim.parts import KINDS
from seqsim.quantity import Unit

GROUND_WORDS = frozenset({"gnd", "ground", "0v", "vss", "earth", "minus"})


@dataclass(frozen=True)
class KindOption:
    """One thing that a part may be: its kind, values that come with it, and its prior."""

    kind: str
    prior: float
    values: Mapping[str, str] = field(default_factory=dict)

    @property
    def label(self) -> str:
        """What a person calls it."""
        extra = self.values.get("dual") or self.values.get("type")
        return f"{self.kind} {extra}" if extra else self.kind


@dataclass(frozen=True)
class Guess:
    """What a word says of a part: one option if it is sure, several if it is not."""

    options: tuple[KindOption, ...]

    @property
    def sure(self) -> bool:
        """Tell whether there is nothing to choose."""
        return len(self.options) == 1


def _one(kind: str, **values: str) -> Guess:
    return Guess((KindOption(kind, 1.0, values),))


def _some(*options: tuple[str, float]) -> Guess:
    return Guess(tuple(KindOption(kind, prior) for kind, prior in options))


DUALS = (
    KindOption("diode", 0.04, {"dual": "common-cathode"}),
    KindOption("diode", 0.04, {"dual": "common-anode"}),
    KindOption("diode", 0.02, {"dual": "series"}),
)
THREE_LEGS = Guess((
    KindOption("npn", 0.35), KindOption("nmos", 0.30), KindOption("pnp", 0.13), KindOption("pmos", 0.12), *DUALS,
))  # fmt: skip
"""What a black thing with three legs is, before any reading: our judgement of what enable chains are made of."""

NAMED_SHARE, SAME_WAY_SHARE = 0.75, 0.15
"""Share of a doubtful kind (`npn?`) that is right, and that is the other technology of the same polarity; the rest
is of the other polarity (our judgement)."""
_OTHER_TECHNOLOGY = {"npn": "nmos", "nmos": "npn", "pnp": "pmos", "pmos": "pnp"}
TRANSISTORS = tuple(_OTHER_TECHNOLOGY)

WORDS: Mapping[str, Guess] = {
    **{kind: _one(kind) for kind in KINDS},
    "res": _one("resistor"), "cap": _one("capacitor"), "coil": _one("inductor"), "choke": _one("inductor"),
    "bead": _one("ferrite"), "schottky": _one("diode", type="schottky"), "zener": _one("diode", type="zener"),
    "led": _one("diode", type="led"), "nfet": _one("nmos"), "nmosfet": _one("nmos"), "nchannel": _one("nmos"),
    "pfet": _one("pmos"), "pmosfet": _one("pmos"), "pchannel": _one("pmos"), "inverter": _one("not"),
    "schmitt": _one("buffer", schmitt="true"), "opto": _one("optocoupler"), "ldo": _one("regulator", type="linear"),
    "buck": _one("regulator", type="switching"), "reset": _one("supervisor"), "link": _one("jumper"),
    "transistor": _some(("npn", 0.7), ("pnp", 0.3)), "bipolar": _some(("npn", 0.7), ("pnp", 0.3)),
    "bjt": _some(("npn", 0.7), ("pnp", 0.3)), "fet": _some(("nmos", 0.7), ("pmos", 0.3)),
    "mosfet": _some(("nmos", 0.7), ("pmos", 0.3)), "dual": Guess(DUALS),
    "gate": _some(("and", 0.35), ("nand", 0.25), ("or", 0.25), ("nor", 0.15)),
}  # fmt: skip
"""What each word means; spelt without hyphens and in lower case."""

TYPE_WORDS = {"linear": "type", "switching": "type", "opendrain": "output", "pushpull": "output"}
DUAL_WORDS = {"commonanode": "common-anode", "commoncathode": "common-cathode", "series": "series"}

LETTERS: Mapping[str, Guess | None] = {
    "R": _one("resistor"), "C": _one("capacitor"), "L": _one("inductor"), "FB": _one("ferrite"),
    "D": _one("diode"), "LED": _one("diode", type="led"), "ZD": _one("diode", type="zener"), "F": _one("fuse"),
    "SW": _one("switch"), "S": _one("switch"), "KEY": _one("switch"), "BTN": _one("button"), "JP": _one("jumper"),
    "Q": THREE_LEGS, "T": THREE_LEGS, "TR": THREE_LEGS, "M": WORDS["fet"], "OC": _one("optocoupler"),
    "OK": _one("optocoupler"), "LD": _one("load"), "BL": _one("load"), "U": None, "IC": None, "J": None,
    "CN": None, "CON": None, "P": None, "X": None, "K": None,
}  # fmt: skip
"""What the letters of a designator say; None for what may be anything (a chip, a connector)."""

_DESIGNATOR = re.compile(r"([A-Z]+)\d+[A-Z]?")

PRIMARY = {
    "resistor": ("ohms", Unit.OHM), "capacitor": ("farads", Unit.FARAD), "inductor": ("henries", Unit.HENRY),
    "ferrite": ("ohms", Unit.OHM), "diode": ("volts", Unit.VOLT), "regulator": ("volts", Unit.VOLT),
    "fuse": ("amps", Unit.AMPERE), "load": ("ohms", Unit.OHM), "supervisor": ("threshold", Unit.VOLT),
    "load_switch": ("on_ohms", Unit.OHM),
}  # fmt: skip
"""The value that stands by itself in a line, by kind."""

SOT23 = "sot23"
PACKAGES: Mapping[str, Mapping[str, tuple[str, ...]]] = {
    # pins 1, 2, 3 as roles; common practice of the makers' drawings of these packages
    SOT23: {"bipolar": ("control", "common", "output"), "mosfet": ("control", "common", "output")},
    "sot323": {"bipolar": ("control", "common", "output"), "mosfet": ("control", "common", "output")},
    "sot223": {"bipolar": ("control", "output", "common"), "mosfet": ("control", "output", "common")},
    "to220": {"bipolar": ("control", "output", "common"), "mosfet": ("control", "output", "common")},
    "dpak": {"bipolar": ("control", "output", "common"), "mosfet": ("control", "output", "common")},
    "to92": {"bipolar": ("common", "control", "output"), "mosfet": ("common", "control", "output")},
}
REVERSED_TO92 = ("output", "control", "common")
"""TO-92 has its legs both ways round, by maker and continent (common practice)."""
DUAL_PINS = {
    "common-cathode": ("A1", "A2", "K"), "common-anode": ("K1", "K2", "A"), "series": ("A", "K", "M"),
}  # fmt: skip
"""Pins 1, 2, 3 of dual diodes in SOT-23 (common practice)."""

ORDER_PRIORS = ((SOT23, 0.7), ("to220", 0.12), ("to92", 0.12), ("to92 reversed", 0.06))
"""Pin orders where no package is named: enable chains are small-signal parts (our judgement)."""
PACKAGE_SHARE = 0.9
"""Share of a doubtful package (`sot23?`) that is right."""


def bare(word: str) -> str:
    """Return a word without hyphens, brackets and case."""
    return word.casefold().replace("-", "").replace("_", "").strip("()[],;:")


def kind_word(word: str) -> Guess | None:
    """Return what a word says of a part; None if it is none of the known ones."""
    return WORDS.get(word.casefold().strip(",;")) or WORDS.get(bare(word))


def doubtful(guess: Guess) -> Guess:
    """Return what a kind with a question mark says: likely this, but also what looks the same."""
    if not guess.sure or guess.options[0].kind not in _OTHER_TECHNOLOGY:
        return guess
    kind = guess.options[0].kind
    rest = [other for other in TRANSISTORS if other not in (kind, _OTHER_TECHNOLOGY[kind])]
    each = (1 - NAMED_SHARE - SAME_WAY_SHARE) / len(rest)
    same = (_OTHER_TECHNOLOGY[kind], SAME_WAY_SHARE)
    return _some((kind, NAMED_SHARE), same, *((other, each) for other in rest))


def letters_of(name: str) -> str | None:
    """Return the letters of a designator (`Q` of `Q7`); None if a name is none."""
    found = _DESIGNATOR.fullmatch(name.upper())
    return found[1] if found is not None and found[1] in LETTERS else None


def is_ground(name: str) -> bool:
    """Tell whether a name means the net under the black lead."""
    return name == GROUND or name.casefold() in GROUND_WORDS


def orders(kind: str, package: str | None, *, sure: bool) -> tuple[tuple[str, tuple[str, ...], float], ...]:
    """Return the pin orders that a three-legged transistor may have: package, roles of pins 1 to 3, prior."""
    group = "mosfet" if kind in ("nmos", "pmos") else "bipolar"
    shares = dict(ORDER_PRIORS)
    if package is not None:
        if package == "to92":
            shares = {"to92": 0.6, "to92 reversed": 0.4}
        elif sure:
            shares = {package: 1.0}
        else:
            shares = {name: share * (1 - PACKAGE_SHARE) for name, share in shares.items() if name != package}
            shares = {package: PACKAGE_SHARE} | shares
    found: dict[tuple[str, ...], tuple[str, float]] = {}
    for name, share in shares.items():
        roles = REVERSED_TO92 if name == "to92 reversed" else PACKAGES[name][group]
        before = found.get(roles, (name, 0.0))
        found[roles] = (before[0], before[1] + share)
    total = sum(share for _, share in found.values())
    return tuple((name, roles, share / total) for roles, (name, share) in found.items())


ROLE_LETTERS = {
    "npn": {"control": "B", "output": "C", "common": "E"}, "pnp": {"control": "B", "output": "C", "common": "E"},
    "nmos": {"control": "G", "output": "D", "common": "S"}, "pmos": {"control": "G", "output": "D", "common": "S"},
}  # fmt: skip
ROLE_OF = {
    "B": "control", "BASE": "control", "G": "control", "GATE": "control", "C": "output", "COLLECTOR": "output",
    "D": "output", "DRAIN": "output", "E": "common", "EMITTER": "common", "S": "common", "SOURCE": "common",
}  # fmt: skip
LONG_PINS = {
    "BASE": "B", "GATE": "G", "COLLECTOR": "C", "DRAIN": "D", "EMITTER": "E", "SOURCE": "S", "ANODE": "A",
    "CATHODE": "K", "CATH": "K", "KATHODE": "K",
}  # fmt: skip

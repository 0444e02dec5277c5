"""What an element and its model say, read one by one: numbers, parameters, and what is left over."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass, field

from seqsim.netlist.cards import Element, Model
from seqsim.netlist.numbers import SpiceNumberError, spice_number
from seqsim.netlist.problems import Problems

DEFAULTS = {
    "D": {"IS": 1e-14, "N": 1.0, "RS": 0.0},
    "Q": {"IS": 1e-16, "BF": 100.0, "BR": 1.0, "RB": 0.0},
    "M": {"VTO": 0.0, "KP": 2e-5, "IS": 1e-14, "LEVEL": 1.0},
}  # fmt: skip
"""What SPICE takes where a model says nothing (SPICE 3 models of D, NPN and NMOS level 1; from memory)."""
NO_LEVEL = frozenset({
    "AF", "KF", "TNOM", "XTI", "EG", "XTB", "FC", "TF", "TR", "XTF", "VTF", "ITF", "PTF", "CJE", "VJE", "MJE",
    "CJC", "VJC", "MJC", "XCJC", "CJS", "VJS", "MJS", "CJO", "CJ0", "VJ", "M", "TT", "CBD", "CBS", "CJ",
    "CJSW", "MJ", "MJSW", "PB", "CGSO", "CGDO", "CGBO", "XJ", "RSH", "MFG", "VCEO", "ICRATING", "IAVE", "VPK", "TYPE",
})  # fmt: skip
"""Parameters on which no steady level at 27 °C depends."""
SECOND_ORDER = {
    "D": frozenset({"IBV", "IKF", "ISR", "NR", "NBV", "BV"}),
    "Q": frozenset({
        "NF", "NR", "VAF", "VA", "VAR", "VB", "ISE", "NE", "ISC", "NC", "RE", "RC", "RBM", "IRB", "IKR", "NS",
        "ISS", "NK",
    }),
    "M": frozenset({"LAMBDA", "GAMMA", "PHI", "RD", "RS", "N", "TOX", "UO", "U0", "LD", "NSUB", "NSS", "TPG", "JS"}),
}  # fmt: skip
"""Parameters that bend a law slightly: without them levels move, as a rule by some tens of millivolts."""


USED = {
    "D": frozenset({"IS", "N", "RS", "BV", "IBV"}),
    "Q": frozenset({"IS", "BF", "BR", "RB", "IKF"}),
    "M": frozenset({"VTO", "KP", "IS", "LEVEL", "W", "L"}),
}  # fmt: skip
"""Parameters that have a counterpart."""


@dataclass(slots=True)
class Values:
    """The values of an element while they are read, its problems, and what a reader should know of it."""

    element: Element
    problems: Problems
    remarks: list[str] = field(default_factory=list)

    def number(self, text: str, what: str) -> float | None:
        """Return a number of the element, or None after an error was noted."""
        try:
            return spice_number(text)
        except SpiceNumberError as error:
            self.problems.error(self.element.line, f"{what} of {self.element.name}: {error}", got=text)
            return None

    def left_over(self, words: Iterable[str], read: Collection[str] = (), idle: Collection[str] = ()) -> None:
        """Refuse the words and parameters that nobody has ``read``; those that are ``idle`` are noted."""
        name, line = self.element.name, self.element.line
        for word in words:
            self.problems.error(
                line, f"'{word}' of {name} is not understood; remove it or write its meaning out", got=word
            )
        for key, text in self.element.parameters.items():
            if key in idle:
                self.remark(f"{key}={text} is left out")
            elif key not in read:
                self.problems.error(line, f"'{key}={text}' of {name} is not understood; remove it", got=key)

    def remark(self, text: str) -> None:
        """Note something that the circuit file says otherwise, also beside the entry."""
        self.remarks.append(text)
        self.problems.note(self.element.line, f"{self.element.name}: {text}")


def geometry(values: Values) -> float | None:
    """Return W/L of a MOSFET times the number in parallel; 1 where nothing is said, as in SPICE."""
    element = values.element
    law = {} if element.model is None else element.model.parameters
    sizes = {}
    for key, usual in (("W", law.get("W", 1e-4)), ("L", law.get("L", 1e-4)), ("M", 1.0)):
        text = element.parameters.get(key)
        number = usual if text is None else values.number(text, key)
        if number is None:
            return None
        if number <= 0:
            values.problems.error(element.line, f"{key} of {element.name} is {text}; it must be above zero")
            return None
        sizes[key] = number
    words = [word for word in element.words if word.lower() != "off"]
    values.left_over(words, sizes, ("AD", "AS", "PD", "PS", "NRD", "NRS", "IC", "TEMP"))
    return sizes["W"] / sizes["L"] * sizes["M"]


def area_factor(values: Values) -> float | None:
    """Return the area factor of a diode or bipolar transistor."""
    words = tuple(word for word in values.element.words if word.lower() != "off")
    text = values.element.parameters.get("AREA") or (words[0] if words else None)
    values.left_over(words[1:], ("AREA",), ("IC", "TEMP"))
    if text is None:
        return 1.0
    number = values.number(text, "the area")
    if number is not None and number <= 0:
        values.problems.error(
            values.element.line, f"the area of {values.element.name} is {text}; it must be above zero"
        )
        return None
    return number


def law_of(values: Values) -> dict[str, float] | None:
    """Return the parameters of an element's model over SPICE's defaults, and note those without a counterpart."""
    model, letter = values.element.model, values.element.letter
    if model is None:
        return None
    unknown = [key for key in model.parameters if key not in USED[letter] | NO_LEVEL | SECOND_ORDER[letter]]
    for key in unknown:
        message = f"{key} of model {model.name} is not understood; remove it if no steady level depends on it"
        values.problems.error(model.line, message, got=key)
    bent = [key for key in model.parameters if key in SECOND_ORDER[letter] - USED[letter] and _bends(key, model)]
    if bent:
        values.remarks.append(f"without {', '.join(bent)} of its model, which move levels slightly")
        values.problems.note(model.line, f"model {model.name}: {', '.join(bent)} left out; levels may move slightly")
    idle = [key for key in model.parameters if key in NO_LEVEL - USED[letter]]
    if idle:
        values.problems.note(
            model.line, f"model {model.name}: {', '.join(idle)} left out; no steady level depends on them"
        )
    return None if unknown else DEFAULTS[letter] | dict(model.parameters)


def _bends(key: str, model: Model) -> bool:
    """Tell whether a parameter differs from what stands for it when it is not given."""
    neutral = {"NF": 1.0, "NR": 1.0, "NBV": 1.0, "N": 1.0}.get(key, 0.0)
    return model.parameters[key] != neutral

"""Fault names, read and written."""

from __future__ import annotations

import math

import pytest

from seqsim.circuit import Circuit
from seqsim.errors import QuantityError, SeqsimError, UnknownPlaceError
from seqsim.faults import fault_text, find_fault, middle, single_faults


def test_every_name_is_found(library: Circuit) -> None:
    """Each name, other names too, leads back to its fault; with a severity it also brings that back."""
    faults = single_faults(library)
    for fault in faults:
        for name in (fault.name, *fault.also):
            assert find_fault(library, name, faults) == (fault, None)
        text = fault_text(fault, middle(fault.severity))
        found, severity = find_fault(library, text, faults)
        assert found is fault
        if fault.severity is None:
            assert severity is None
        else:
            assert severity is not None
            assert math.isclose(severity, middle(fault.severity), rel_tol=5e-3)


def test_severities_are_written_as_on_the_bench(flap: Circuit) -> None:
    """The documented forms."""
    for text, name, value in (
        ("R3:high x5", "R3:high", 5.0),
        ("V5:short to GND, 8 Ω", "V5:short to GND", 8.0),
        ("EN:leak to V5, 220 kΩ", "EN:leak to V5", 220e3),
    ):
        fault, severity = find_fault(flap, text)
        assert (fault.name, severity) == (name, value)
        assert fault_text(fault, severity) == text


def test_spaces_do_not_matter(flap: Circuit) -> None:
    """A name typed with stray spaces is the same name."""
    assert find_fault(flap, "  V5:short  to GND ")[0].name == "V5:short to GND"


@pytest.mark.parametrize(
    ("text", "hint"),
    [("R3:opne", "did you mean 'R3:open'"), ("R33:open", "did you mean 'R3'"), ("R3", "PLACE:mode, such as 'R3:open'"),
     ("V5:short to VBAT", "V5:short to V12"), ("R3:purple", "it has 'R3:"), ("", "PLACE:mode"),
     ("R3:open x5", "no severity")],
)  # fmt: skip
def test_mistakes_name_the_mend(flap: Circuit, text: str, hint: str) -> None:
    """Each mistake gets one sentence with what could have been meant."""
    with pytest.raises(UnknownPlaceError) as caught:
        find_fault(flap, text)
    assert hint in str(caught.value)


def test_a_severity_without_sense(flap: Circuit) -> None:
    """A severity of the wrong unit or size is an error of its own, not another fault."""
    for text in ("R3:high 5V", "V5:short to GND, blue", "V5:short to GND, 0"):
        with pytest.raises(QuantityError):
            find_fault(flap, text)
    assert issubclass(QuantityError, SeqsimError)

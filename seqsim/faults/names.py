"""Faults as text: `R5:high x5`, `V5:short to GND, 8 Ω`."""

from __future__ import annotations

import difflib
from collections.abc import Iterable

from seqsim.circuit import Circuit
from seqsim.errors import UnknownPlaceError
from seqsim.faults.fault import Fault
from seqsim.faults.severity import parse_severity, severity_text
from seqsim.faults.single import every_fault


def fault_text(fault: Fault, severity: float | None = None) -> str:
    """Return a fault's name, with its severity if one is given and the fault has any."""
    if severity is None or fault.severity is None:
        return fault.name
    return fault.name + severity_text(fault.severity, severity)


def find_fault(circuit: Circuit, text: str, faults: Iterable[Fault] | None = None) -> tuple[Fault, float | None]:
    """Return the fault that a text names, and its severity if the text gives one.

    Parameters
    ----------
    faults
        The faults of the circuit, where the caller has them already.

    Raises
    ------
    UnknownPlaceError
        If the board has no such fault.
    QuantityError
        If the severity has no meaning for the fault.
    """
    wanted = " ".join(text.split())
    listed = tuple(every_fault(circuit) if faults is None else faults)
    known = {fault.name: fault for fault in listed} | {name: fault for fault in listed for name in fault.also}
    if wanted in known:
        return known[wanted], None
    for name in sorted(known, key=len, reverse=True):
        if wanted.startswith((f"{name} ", f"{name},")):
            return known[name], _severity(known[name], name, wanted.removeprefix(name))
    raise UnknownPlaceError(_suggestion(wanted, known), place=wanted)


def _severity(fault: Fault, name: str, rest: str) -> float:
    if fault.severity is None:
        message = f"'{name}' has no severity, but '{rest.strip(' ,')}' follows it; leave that out"
        raise UnknownPlaceError(message, place=name, got=rest.strip(" ,"))
    return parse_severity(fault.severity, rest)


def _suggestion(wanted: str, known: dict[str, Fault]) -> str:
    """One sentence that names the faults which may have been meant."""
    place, colon, mode = wanted.partition(":")
    here = [name for name in known if name.startswith(f"{place}:")]
    if not colon:
        mend = f"write PLACE:mode, such as '{(here or list(known) or ['R1:open'])[0]}'"
        return f"'{wanted}' is no fault; {mend}"
    if here:
        modes = [name.removeprefix(f"{place}:") for name in here]
        close = difflib.get_close_matches(mode, modes, n=3)
        names = ", ".join(f"'{place}:{name}'" for name in close or modes)
        verb = "did you mean" if close else "it has"
        return f"there is no fault '{wanted}'; {verb} {names}{'?' if close else ''}"
    places = sorted({name.partition(":")[0] for name in known})
    close = difflib.get_close_matches(place, places, n=3)
    either = "' or '".join(close)
    mend = f"did you mean '{either}'?" if close else "name a part, pin, net or supply"
    return f"there is no fault '{wanted}', because nothing is called '{place}'; {mend}"

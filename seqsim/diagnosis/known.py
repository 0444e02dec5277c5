"""What is known of a board besides its readings: its history, and what the shop has found on others like it."""

from __future__ import annotations

from seqsim.circuit import Circuit
from seqsim.faults import Factors, History, Remark, history_of
from seqsim.faults.past import read_past
from seqsim.readings import Readings


def history_known(circuit: Circuit, readings: Readings, factors: Factors | None = None) -> History:
    """Return the history that comes with readings, and further factors on priors before it.

    Raises
    ------
    ReadingError, UnknownPlaceError
        If something in it is not understood.
    """
    own = factors if isinstance(factors, History) else History.of(factors or {})
    said = history_of(circuit, [Remark(*phrase) for phrase in readings.history])
    past = read_past(readings.past) if readings.past is not None else ()
    return own.with_more(said).with_more(History(past=past))

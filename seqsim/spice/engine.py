"""The SPICE engine behind a small protocol; the one file that touches PySpice.

What PySpice reports as a failure is mostly talk: every line on the engine's standard error counts, also the note that
it steps gmin. So a run is judged by its result: an analysis exists and all of its numbers are finite.
"""

from __future__ import annotations

import ctypes
import ctypes.util
import logging
import math
import os
import re
import warnings
from collections import deque
from collections.abc import Mapping
from functools import cache
from typing import Any, Protocol

from seqsim.errors import SpiceFailedError, SpiceMissingError

LIBRARY_VARIABLE = "NGSPICE_LIBRARY_PATH"
"""Environment variable that names the engine's shared library."""
CANDIDATES = ("libngspice.so.0", "libngspice.so", "libngspice.dylib", "ngspice.dll")
TELLING = re.compile(r"error|fail|singular|no such|timestep|abort", re.IGNORECASE)
"""Lines of the engine that tell why it failed."""
MOST_POINTS = 5000
"""Points of time after which a run is given up: what has not come to rest by then never does."""
KEPT_LINES = 40
"""Lines of the engine that are kept for the reason of a failure."""
DIVIDER = "proof\nV1 n1 0 DC 10.0\nR1 n1 n2 1000.0\nR2 n2 0 1000.0\n.op\n.end\n"


class Engine(Protocol):
    """Runs a deck with one analysis."""

    def run(self, deck: str) -> Mapping[str, float]:
        """Return the last volts of each SPICE node.

        Raises
        ------
        SpiceFailedError
            If the engine gives no finite result; the error carries its last lines.
        """


def find_library() -> str:
    """Return the name or path of the engine's shared library, the first that loads.

    The environment variable is asked first, then the usual names, then the system's finder: Debian installs
    `libngspice.so.0` alone, which PySpice by itself does not find.

    Raises
    ------
    SpiceMissingError
        If none can be loaded.
    """
    given = os.environ.get(LIBRARY_VARIABLE)
    if given:
        if _loads(given):
            return given
        message = f"{LIBRARY_VARIABLE} names '{given}', which is no library that can be loaded; correct or unset it"
        raise SpiceMissingError(message, got=given)
    for name in (*CANDIDATES, ctypes.util.find_library("ngspice")):
        if name and _loads(name):
            return name
    message = (
        "the SPICE engine's shared library is missing; install it (Debian: `apt-get install libngspice0`) "
        f"or name it in {LIBRARY_VARIABLE}"
    )
    raise SpiceMissingError(message, expected=" or ".join(CANDIDATES))


def _loads(name: str) -> bool:
    try:
        ctypes.CDLL(name)
    except OSError:
        return False
    return True


class _Quiet(logging.Filter):
    """Drops what PySpice echoes of the engine, and its note that it does not know the engine's version."""

    def filter(self, record: logging.LogRecord) -> bool:
        del record
        return False


class SharedEngine:
    """The engine inside this process. It has one global state, so one instance serves a process."""

    def __init__(self) -> None:
        library = find_library()
        self._lines: deque[str] = deque(maxlen=KEPT_LINES)
        self._shared, self._complaint = _load(library, self._lines)
        self.library = library
        proof = self.run(DIVIDER)
        if abs(proof["n2"] - 5.0) > 1e-6:
            raise SpiceFailedError(f"the SPICE engine {library} halves 10 V to {proof['n2']:g} V; reinstall it")

    @property
    def version(self) -> str:
        """Version of the engine."""
        return str(self._shared.ngspice_version)

    def run(self, deck: str) -> Mapping[str, float]:
        """Return the last volts of each node; see `Engine`."""
        self._lines.clear()
        try:
            self._shared.load_circuit(deck)
            self._shared.exec_command(f"stop after {MOST_POINTS}")
            self._shared.run()
        except self._complaint:
            pass  # judged by its result below
        except NameError as error:
            self._lines.append(str(error))
        try:
            return self._volts()
        finally:
            self._clean()

    def _volts(self) -> Mapping[str, float]:
        if any("Transient op started" in line for line in self._lines):
            # the engine gave up on a steady point and followed the board in time for a while
            raise SpiceFailedError(f"SPICE found no steady point: {self._reason()}")
        if any("condition met: stop" in line for line in self._lines):
            raise SpiceFailedError(f"SPICE did not come to rest within {MOST_POINTS} steps of time")
        name = str(self._shared.last_plot)
        if not name.startswith(("op", "tran")):
            raise SpiceFailedError(f"SPICE gave no result: {self._reason()}")
        plot = self._shared.plot(None, name)
        last = {node: vector._data[-1:] for node, vector in plot.items() if "#" not in node and node != "time"}  # noqa: SLF001
        volts = {node: float(data[0]) for node, data in last.items() if len(data)}
        if not volts or not all(math.isfinite(value) for value in volts.values()):
            raise SpiceFailedError(f"SPICE gave no finite voltages: {self._reason()}")
        return volts

    def _clean(self) -> None:
        for command in (self._shared.remove_circuit, self._shared.destroy):
            try:
                command()
            except (self._complaint, NameError):
                continue

    def _reason(self) -> str:
        """Return the engine's last telling lines as one sentence."""
        telling = [line for line in self._lines if TELLING.search(line)]
        lines = telling[-3:] or list(self._lines)[-3:]
        return "; ".join(" ".join(line.split()) for line in lines) or "it said nothing"


def _load(library: str, lines: deque[str]) -> tuple[Any, type[Exception]]:
    before = os.environ.get(LIBRARY_VARIABLE)
    os.environ[LIBRARY_VARIABLE] = library
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            try:
                from PySpice.Spice.NgSpice.Shared import NgSpiceCommandError, NgSpiceShared
            except ImportError as error:
                message = (
                    "the SPICE pass needs the Python package PySpice; install it with `pip install 'seqsim[spice]'`"
                )
                raise SpiceMissingError(message) from error

            class Listening(NgSpiceShared):  # type: ignore[misc]
                """The shared engine, its output kept."""

                def send_char(self, message: str, ngspice_id: int) -> int:
                    del ngspice_id
                    lines.append(message.removeprefix("stderr ").removeprefix("stdout "))
                    return 0

            NgSpiceShared.setup_platform()
            NgSpiceShared.LIBRARY_PATH = library
            logging.getLogger(NgSpiceShared._logger.name).addFilter(_Quiet())  # noqa: SLF001
            return Listening.new_instance(), NgSpiceCommandError
    finally:
        if before is None:
            os.environ.pop(LIBRARY_VARIABLE, None)
        else:
            os.environ[LIBRARY_VARIABLE] = before


@cache
def engine() -> SharedEngine:
    """Return the engine of this process.

    Raises
    ------
    SpiceMissingError
        If PySpice or the engine's library is missing; the sentence says what to install.
    """
    return SharedEngine()

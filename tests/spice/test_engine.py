"""The engine behind PySpice, and each of its traps. These tests need the engine; `.ci/run` installs it."""

from __future__ import annotations

import logging
import os
import subprocess
import sys
from pathlib import Path

import pytest

from seqsim.errors import SpiceFailedError, SpiceMissingError
from seqsim.spice.engine import LIBRARY_VARIABLE, SharedEngine, engine, find_library


@pytest.fixture(scope="module")
def spice() -> SharedEngine:
    """The engine of this process."""
    return engine()


def test_a_divider_halves(spice: SharedEngine) -> None:
    """Ohm's law comes out of the engine, so it is found, loaded and read."""
    volts = spice.run("x\nV1 n1 0 DC 9.0\nR1 n1 n2 2000.0\nR2 n2 0 1000.0\n.op\n.end\n")
    assert volts["n2"] == pytest.approx(3.0, abs=1e-6)


def test_the_version_note_is_no_trouble(spice: SharedEngine, caplog: pytest.LogCaptureFixture) -> None:
    """PySpice does not know this version of the engine; nobody is told so, and it works."""
    with caplog.at_level(logging.DEBUG):
        spice.run("x\nV1 n1 0 DC 1.0\n.op\n.end\n")
    assert spice.version
    assert "Unsupported" not in caplog.text


def test_a_floating_gate_and_an_open_joint_have_levels(spice: SharedEngine) -> None:
    """Nodes that nothing drives are what faults make daily; the shunt gives them 0 V, and talk is no failure."""
    deck = (
        "x\nV1 n1 0 DC 5.0\nR1 n1 n2 1000.0\nM1 n2 n3 0 0 m1\n.model m1 NMOS(LEVEL=1 VTO=1.0 KP=0.1)\n"
        "R2 n4 n5 100.0\n.options rshunt=1e9\n.op\n.end\n"
    )
    volts = spice.run(deck)
    assert volts["n2"] == pytest.approx(5.0, abs=1e-3)
    assert volts["n3"] == pytest.approx(0.0, abs=1e-3)
    assert volts["n5"] == pytest.approx(0.0, abs=1e-3)


def test_a_real_failure_tells_its_reason(spice: SharedEngine) -> None:
    """What PySpice calls "Command 'run' failed" comes with the engine's own words, and the next run works again."""
    with pytest.raises(SpiceFailedError, match="no such function"):
        spice.run("x\nB1 n1 0 I=nonsense(V(n1))\nR1 n1 0 1.0\n.op\n.end\n")
    assert spice.run("x\nV1 n1 0 DC 1.0\n.op\n.end\n")["n1"] == 1.0


def test_two_sources_in_conflict_are_a_failure(spice: SharedEngine) -> None:
    """A deck without a solution is refused, never answered with numbers."""
    with pytest.raises(SpiceFailedError):
        spice.run("x\nV1 n1 0 DC 1.0\nV2 n1 0 DC 2.0\n.op\n.end\n")


def test_a_missing_library_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without the engine's library one sentence tells the package and the variable."""
    monkeypatch.delenv(LIBRARY_VARIABLE, raising=False)
    monkeypatch.setattr("seqsim.spice.engine._loads", lambda _: False)
    with pytest.raises(SpiceMissingError, match="libngspice0") as caught:
        find_library()
    assert LIBRARY_VARIABLE in str(caught.value)


def test_a_wrong_library_is_named(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """A path in the variable that is no library is told, not passed over."""
    wrong = tmp_path / "nothing.so"
    wrong.write_text("no library", encoding="utf-8")
    monkeypatch.setenv(LIBRARY_VARIABLE, str(wrong))
    with pytest.raises(SpiceMissingError, match="correct or unset"):
        find_library()


def test_without_the_package_the_command_says_what_to_install(tmp_path: Path) -> None:
    """Where PySpice is missing, `seqsim spice` ends with one sentence, and `--deck` still works."""
    blocked = "import sys; sys.modules['PySpice'] = None; from seqsim.cli.main import main; main(sys.argv[1:])"

    def start(*words: str) -> subprocess.CompletedProcess[str]:
        command = [sys.executable, "-c", blocked, "spice", "inverting_npn", *words]
        environment = os.environ | {"PYTHONUTF8": "1"}
        return subprocess.run(command, capture_output=True, check=False, cwd=tmp_path, env=environment, text=True)

    refused = start()
    assert refused.returncode == 2
    assert refused.stderr.count("\n") == 1
    assert "pip install 'seqsim[spice]'" in refused.stderr
    shown = start("--deck")
    assert shown.returncode == 0
    assert ".op" in shown.stdout

"""What all tests share: a shell in the process, and the program in a process of its own."""

from __future__ import annotations

import os
import shlex
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest


@dataclass(frozen=True)
class Outcome:
    """What a command left behind."""

    code: int
    out: str
    err: str


@pytest.fixture
def shell(capsys: pytest.CaptureFixture[str]) -> Callable[[str], Outcome]:
    """Run a command line of seqsim (without its first word) in this process."""
    from seqsim.cli.main import run

    def type_in(line: str) -> Outcome:
        capsys.readouterr()
        code = run(shlex.split(line))
        caught = capsys.readouterr()
        return Outcome(code, caught.out, caught.err)

    return type_in


@pytest.fixture
def program(tmp_path: Path) -> Callable[..., Outcome]:
    """Run a command line of seqsim in a process of its own, in an empty folder."""

    def start(line: str, **environment: str) -> Outcome:
        done = subprocess.run(
            [sys.executable, "-m", "seqsim", *shlex.split(line)],
            cwd=tmp_path,
            env=os.environ | {"PYTHONUTF8": "1"} | environment,
            capture_output=True,
            check=False,
            encoding="utf-8",
        )
        return Outcome(done.returncode, done.stdout, done.stderr)

    return start


DIVIDER = """\
format: 1
title: A divider, invented for the tests
supplies:
  VIN: {volts: 10, ohms: 0.01}
power_states:
  idle: {on: []}
  on: {on: [VIN]}
parts:
  R1: {kind: resistor, ohms: 10k, tolerance: 1%, pins: [VIN, MID]}
  R2: {kind: resistor, ohms: 10k, tolerance: 1%, pins: [MID, GND]}
  C1: {kind: capacitor, farads: 100n, pins: [MID, GND]}
rails:
  MID: {volts: 5}
target: MID
"""


@pytest.fixture
def divider(tmp_path: Path) -> Path:
    """A circuit file of two resistors and a capacitor: 5 V in the middle of 10 V."""
    path = tmp_path / "divider.yaml"
    path.write_text(DIVIDER, encoding="utf-8")
    return path

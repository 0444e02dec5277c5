"""What the tests of power-ups share: circuits from a text."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from rail_pair import CHAIN

from seqsim.circuit import Circuit, read_circuit


@pytest.fixture
def circuit_of(tmp_path: Path) -> Callable[[str], Circuit]:
    """Read a circuit from a text."""

    def read(text: str) -> Circuit:
        path = tmp_path / "board.yaml"
        path.write_text(text, encoding="utf-8")
        return read_circuit(path)

    return read


@pytest.fixture
def chain(circuit_of: Callable[[str], Circuit]) -> Circuit:
    """Two regulators in a row and a supervisor behind them."""
    return circuit_of(CHAIN)

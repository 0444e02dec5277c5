"""What was seen over time: its words, in options and in files."""

from __future__ import annotations

from pathlib import Path

import pytest
from rail_pair import CHAIN

from seqsim.board import Board
from seqsim.circuit import Circuit, read_circuit
from seqsim.errors import ReadingError, UnknownPlaceError
from seqsim.readings import Readings, Seen, read_readings, split_shorthand


@pytest.fixture
def chain(tmp_path: Path) -> Circuit:
    """Two rails in a row, a supervisor behind them."""
    path = tmp_path / "board.yaml"
    path.write_text(CHAIN, encoding="utf-8")
    return read_circuit(path)


def parsed(circuit: Circuit, text: str) -> tuple[Seen, ...]:
    return Readings().with_more(circuit, [split_shorthand(text)]).seen


@pytest.mark.parametrize(
    ("text", "seen"),
    [
        ("RESET rises then falls", Seen("RESET", "rises then falls")),
        ("V3 never high", Seen("V3", "never high")),
        ("V3 never rises", Seen("V3", "never high")),
        ("RESET Stays High @going", Seen("RESET", "stays high", None, "going")),
        ("PG5 pulses", Seen("PG5", "pulses")),
        ("V5 3.2 at 80ms", Seen("V5", 3.2, 0.08)),
        ("U2.EN 602mV at 0.1s @going", Seen("U2.EN", 0.602, 0.1, "going")),
        ("RESET low at 40 ms", Seen("RESET", "low", 0.04)),
        ("V5 3.2 V at 80 ms", Seen("V5", 3.2, 0.08)),
    ],
)
def test_words(chain: Circuit, text: str, seen: Seen) -> None:
    """Each form is understood."""
    assert parsed(chain, text) == (seen,)


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("V5 at 80ms", "V3V3 never high"),
        ("V5 3.2 at noon", "noon"),
        ("V5 big at 80ms", "big"),
        ("V5 3 at -1ms", "-1ms"),
        ("V5 3 at 3 h", "3 h"),
        ("V5 3 at 7200s", "7200s"),
        ("V5 to V3 3 at 80ms", "one place"),
        ("V5 never high with R1 lifted", "untouched"),
    ],
)
def test_bad_words(chain: Circuit, text: str, word: str) -> None:
    """What is not understood is refused in one sentence with a correct form or the reason."""
    with pytest.raises(ReadingError, match=word) as refused:
        parsed(chain, text)
    assert text in str(refused.value)


@pytest.mark.parametrize("text", ["V7 never high", "V5 low at 3ms @gone", "V5 low at 3ms @off"])
def test_unknown_names(chain: Circuit, text: str) -> None:
    """Places and power states that the board does not have are refused, `off` too: nothing is powered up in it."""
    with pytest.raises(UnknownPlaceError):
        parsed(chain, text)


def test_files(chain: Circuit, tmp_path: Path) -> None:
    """YAML and CSV hold readings at rest and over time side by side, and messages name the line."""
    listed, table = tmp_path / "a.yaml", tmp_path / "a.csv"
    listed.write_text(
        "format: 1\nreadings:\n  - V5 5.01\n  - V3 low at 60ms\n  - {place: PG5, value: never high}\n",
        encoding="utf-8",
    )
    table.write_text("place,value\nV5,5.01\nV3,low at 60ms\nPG5,never high\n", encoding="utf-8")
    for path in (listed, table):
        taken = read_readings(chain, path)
        assert [reading.place for reading in taken.readings] == ["V5"]
        assert taken.seen == (Seen("V3", "low", 0.06), Seen("PG5", "never high"))
        assert all(each.line for each in taken.seen)
    listed.write_text("format: 1\nreadings:\n  - V5 5.01\n  - V3 low at dusk\n", encoding="utf-8")
    with pytest.raises(ReadingError) as refused:
        read_readings(chain, listed)
    assert refused.value.line == 4


def test_not_lost_where_it_is_not_used(chain: Circuit) -> None:
    """A command that looks at levels at rest refuses what was seen over time, rather than drop it."""
    board = Board("chain", chain)
    with pytest.raises(ReadingError, match="rank"):
        board.why(read=["V5 5.01", "V3 low at 60ms"])

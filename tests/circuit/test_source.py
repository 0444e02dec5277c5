"""Files are read as their source text, and what asks for too much is refused before it is built."""

from __future__ import annotations

import os
import time
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seqsim.circuit import parse_circuit, read_circuit
from seqsim.circuit.source import MOST_BYTES, Entries, Items, Text, parse_source
from seqsim.errors import CircuitError


def scalar(text: str) -> str:
    node = parse_source(text).entries[0][1]
    assert isinstance(node, Text)
    return node.text


@pytest.mark.parametrize(
    "word", ["on", "yes", "null", "~", "5E4", "012", "0x1F", "1_000", "3.3V", "2024-01-01", "?", "=", ".inf"]
)
def test_scalars_keep_their_source_text(word: str) -> None:
    """Nothing is taken for a truth value, number, date or null (YAML 1.2 source, no schema applied)."""
    assert scalar(f"a: {word}\n") == word
    assert scalar(f"a: '{word}'\n") == word


@pytest.mark.parametrize("text", ["{ohms: ?}", "{ohms: ?, a: b}", "ohms: ?\na: b\n", "ohms: ? # not known\n"])
def test_a_lone_question_mark_is_a_value(text: str) -> None:
    """`?` may stand wherever a value may, quotes or not."""
    assert scalar(text) == "?"


def test_lines_are_those_of_the_file() -> None:
    """Keys, values and items know their line."""
    tree = parse_source("a: 1\n\nb:\n  - x\n  - y\n")
    key, node = tree.entries[1]
    assert key.line == 3
    assert isinstance(node, Items)
    assert [item.line for item in node.items] == [4, 5]


def test_references_share_what_they_name() -> None:
    """`&name` and `*name` work where they stay small."""
    tree = parse_source("a: &x {b: c}\nd: *x\n")
    assert isinstance(tree.entries[0][1], Entries)
    assert tree.entries[0][1] is tree.entries[1][1]


LAUGHS = "a0: &a0 [x, x, x, x, x, x, x, x, x]\n" + "".join(
    f"a{k}: &a{k} [{', '.join([f'*a{k - 1}'] * 9)}]\n" for k in range(1, 30)
)

GREEDY = {
    "references that multiply": LAUGHS,
    "a reference to itself": "a: &a [*a]\n",
    "deep lists": "a: " + "[" * 400_000,
    "deep mappings": "a: " + "{a: " * 200_000,
    "deep indentation": "".join(f"{' ' * k}a:\n" for k in range(1000)),
    "deep dashes": "- " * 200_000,
    "many anchors": "a: " + "&x " * 300_000,
    "deep references": "".join(f"a{k}: &a{k} [*a{k - 1}, *a{k - 1}]\n" if k else "a0: &a0 [x]\n" for k in range(60)),
}


@pytest.mark.parametrize("name", GREEDY)
def test_what_asks_for_gigabytes_is_refused_in_a_second(name: str) -> None:
    """References and nesting are counted before anything is built from them."""
    begin = time.process_time()
    with pytest.raises(CircuitError):
        parse_circuit(GREEDY[name], "greedy.yaml")
    assert time.process_time() - begin < 1.0


def test_a_long_file_is_refused_unread(tmp_path: Path) -> None:
    """The size is looked at before the content, so a sparse terabyte costs nothing."""
    path = tmp_path / "long.yaml"
    with path.open("wb") as stream:
        stream.truncate(1 << 40)
    begin = time.process_time()
    with pytest.raises(CircuitError, match=f"more than the {MOST_BYTES} that are read"):
        read_circuit(path)
    assert time.process_time() - begin < 1.0


def test_what_is_no_file_is_told(tmp_path: Path) -> None:
    """A folder, a pipe and a missing file each get their sentence; a pipe is not waited for."""
    with pytest.raises(CircuitError, match="this is a folder"):
        read_circuit(tmp_path)
    with pytest.raises(CircuitError, match="there is no such file"):
        read_circuit(tmp_path / "none.yaml")
    os.mkfifo(tmp_path / "pipe.yaml")
    with pytest.raises(CircuitError, match="no regular file"):
        read_circuit(tmp_path / "pipe.yaml")


@settings(max_examples=300, deadline=None)
@given(st.text(alphabet="ab01:,-?[]{}&*!|>'\"%@#`\n\t \\x\x01é", max_size=60))
def test_any_text_is_read_or_refused(text: str) -> None:
    """Whatever the text, it becomes a tree or a `CircuitError`, never another exception."""
    told: Entries | list[str]
    try:
        told = parse_source(text, "any.yaml")
    except CircuitError as error:
        told = str(error).splitlines()
    assert isinstance(told, Entries) or len(told) == 1

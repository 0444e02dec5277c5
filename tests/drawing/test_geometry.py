"""The geometry of chain diagrams: nothing overlaps, nothing is left out, and the same file gives the same picture."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest
from drawn_boards import BOARDS, library_circuit, library_scene, long_chain, scene_of

from seqsim.circuit import Circuit, parse_circuit
from seqsim.drawing.chain import MOST_PARTS, shown_parts
from seqsim.drawing.scene import Scene, Text
from seqsim.drawing.strip import overlaid


def clashes(scene: Scene) -> list[str]:
    """Say what overlaps: boxes of symbols and labels, wires through boxes, wires upon each other."""
    found = []
    for k, one in enumerate(scene.boxes):
        for other in scene.boxes[k + 1 :]:
            inside_a_chip = {one.owner, other.owner} in (
                {one.owner, f"part:{one.owner}"}, {other.owner, f"part:{other.owner}"},
            )  # fmt: skip
            if one.overlaps(other) and not inside_a_chip:
                found.append(f"{one} and {other}")
    for wire in scene.wires:
        for first, second in zip(wire.points, wire.points[1:], strict=False):
            found += [f"{wire.net} runs through {box}" for box in scene.boxes if box.crosses(first, second)]
    found += [f"{one} lies on {other}" for one, other in overlaid(scene.wires)]
    return found


def inside(scene: Scene) -> bool:
    """Tell whether all of a scene lies within its width and height."""
    corners = [corner for item in scene.items for corner in item.corners()]
    slack = 0.15  # strokes at the rim, within the blank margin of 0.5
    return all(-slack <= x <= scene.width + slack and -slack <= y <= scene.height + slack for x, y in corners)


@pytest.mark.parametrize("name", BOARDS)
@pytest.mark.parametrize("part", ["whole", "chain"])
def test_nothing_overlaps(name: str, part: str) -> None:
    """On every board of the library, in the target's chain and in the whole, no symbol or label lies on another."""
    scene = library_scene(name, chain=part == "chain")
    assert clashes(scene) == []
    assert inside(scene)


@pytest.mark.parametrize("name", BOARDS)
def test_nothing_overlaps_with_faults_and_readings(name: str) -> None:
    """Marks of faults and readings find their room: at three places of every board, all at once."""
    circuit = library_circuit(name)
    parts = [part.name for part in circuit.parts.values() if part.kind == "resistor"][:2]
    faults = tuple(f"{part}:open" for part in parts)
    readings = [f"{net} 1.234" for net in list(circuit.nets())[1:4]] + [f"{parts[0]}.1 0.5"]
    scene = scene_of(name, circuit, faults=faults, readings=readings, whole=True)
    assert clashes(scene) == []
    assert inside(scene)
    assert all(f"✗ {fault}" in scene.texts() for fault in faults)
    assert any("1.234 V" in text for text in scene.texts())


@pytest.mark.parametrize("name", BOARDS)
def test_every_part_and_net_is_named(name: str) -> None:
    """The whole board shows the name of every part, and of every net but ground; each level stands in a flag."""
    circuit = library_circuit(name)
    texts = library_scene(name).texts()
    assert set(circuit.parts) <= set(texts)
    assert {net for net in circuit.nets() if net not in circuit.grounds} <= set(texts)
    assert any(text.endswith("V") for text in texts)


@pytest.mark.parametrize("name", BOARDS)
def test_each_stage_stands_right_of_what_drives_it(name: str) -> None:
    """Within a row, the wire of a net starts right of the symbols of the parts that drive it; feedback apart."""
    from seqsim.drawing.flow import flow

    circuit = library_circuit(name)
    scene = library_scene(name)
    symbols = {box.owner: box for box in scene.boxes if box.what == "symbol"}
    names: dict[str, list[Text]] = {}
    for item in scene.items:
        if isinstance(item, Text) and item.bold and item.size > 0.25:
            names.setdefault(item.text, []).append(item)
    compared = 0
    for node, after in flow(circuit).after.items():
        for other in after:
            if node.startswith("part:") and other.startswith("net:") and names.get(other[4:]):
                symbol, label = symbols[node[5:]], names[other[4:]][0]
                if abs(symbol.bottom - label.at[1]) < 2.0:  # in one row of the page
                    assert symbol.left < label.at[0]
                    compared += 1
    assert compared > 0


def test_every_shape(every_shape: Circuit) -> None:
    """A board with every shape of symbol is drawn without overlaps, in each power state."""
    for state in every_shape.power_states:
        scene = scene_of("every_shape", every_shape, state=state)
        assert clashes(scene) == []
        assert set(every_shape.parts) <= set(scene.texts())


def test_a_latch_leads_back(every_shape: Circuit) -> None:
    """The wire that closes the loop of two gates runs back above them: the picture has one lane, ended by no part."""
    from seqsim.drawing.chain import _blocks
    from seqsim.drawing.facts import Facts
    from seqsim.drawing.flow import flow
    from seqsim.drawing.layers import edges_between, open_cycles

    found = flow(every_shape)
    blocks = _blocks(found, Facts(), frozenset(found.after))
    _, back = open_cycles(tuple(blocks), edges_between(blocks))
    assert {edge.net for edge in back} <= {"Q", "QN"}
    assert len(back) == 1


def test_same_file_same_picture() -> None:
    """Two processes whose sets and dictionaries are shuffled differently write the same bytes, in all formats."""
    script = (
        "import hashlib, seqsim\n"
        "p = seqsim.load('power_good_chain').draw()\n"
        "print(*(hashlib.sha256(p.to_bytes(f)).hexdigest() for f in ('svg', 'png', 'pdf')))\n"
    )
    written = {
        subprocess.run(
            [sys.executable, "-c", script], env=_environment(seed), capture_output=True, check=True, text=True
        ).stdout
        for seed in ("1", "2")
    }
    assert len(written) == 1
    assert len(next(iter(written)).split()) == 3


def _environment(seed: str) -> dict[str, str]:
    return os.environ | {"PYTHONHASHSEED": seed}


def test_large_boards_are_folded() -> None:
    """Above the limit of a page the target's chain is drawn and the rest is told; `whole` brings it back."""
    circuit = parse_circuit(long_chain(22).encode(), "long.yaml")
    assert len(circuit.parts) > MOST_PARTS
    assert set(circuit.parts) - set(shown_parts(circuit)) == {"RX", "CX"}
    assert set(shown_parts(circuit, whole=True)) == set(circuit.parts)
    scene = scene_of("long", circuit)
    assert any("2 other parts folded" in text for text in scene.texts())
    assert clashes(scene) == []

"""`seqsim faults`."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import seqsim

Shell = Callable[[str], Any]


def test_documented_fields(shell: Shell, divider: Path) -> None:
    """Each fault has name, prior, source and the standing of that source; priors add up to one."""
    fields = json.loads(shell(f"faults {divider} --json").out)
    assert (fields["schema"], fields["circuit"]) == (1, str(divider))
    assert all(fault.keys() >= {"fault", "prior", "source", "standing"} for fault in fields["faults"])
    assert sum(fault["prior"] for fault in fields["faults"]) == pytest.approx(1)
    names = [fault["fault"] for fault in fields["faults"]]
    assert {"R1:open", "R2:short", "VIN:absent", "MID:leak to GND", "R1.1:joint open"} <= set(names)
    assert len(names) == len(set(names))


def test_text_has_the_likeliest_first(shell: Shell, divider: Path) -> None:
    """People see shares in falling order, each with the number of a source that is listed below."""
    lines = shell(f"faults {divider}").out.splitlines()
    shares = [float(line.split(" %")[0].split()[-1]) for line in lines if " %  [" in line]
    assert shares == sorted(shares, reverse=True)
    assert len(shares) == len(seqsim.load(divider).faults().faults)
    assert any(line.strip().startswith("[1]") for line in lines)


def test_every_name_can_be_given_to_levels(shell: Shell, divider: Path) -> None:
    """A name that `faults` prints, other names of the event included, is one that `levels --fault` takes."""
    fields = json.loads(shell(f"faults {divider} --json").out)
    for fault in fields["faults"]:
        for name in (fault["fault"], *fault["also"]):
            done = shell(f"levels {divider} --fault '{name}' --json")
            assert (done.code, done.err) == (0, ""), name

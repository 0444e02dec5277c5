"""Run the decks of this folder in ngspice and write what they cross, and when, to crossings.json.

Each deck runs twice: with the settings that count as the reference, and with five times finer steps and ten times
finer tolerance; the distance between both is the reference's own error.

Usage: python regenerate.py [path of ngspice]
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
import time
from pathlib import Path

HERE = Path(__file__).parent
WATCHED = {
    "late_enable": [("SLOW", 3.0, 1), ("GATE", 10.5, -1), ("VSIGN", 3.0, 1), ("VSIGN", 8.0, 1), ("VSIGN", 11.4, 1)],
    "pass_gate": [("GATE", 3.5, 1), ("VCAM", 1.0, 1), ("VCAM", 3.0, 1), ("VCAM", 4.75, 1)],
    "two_rails": [
        ("VIN", 6.0, 1), ("V5", 1.0, 1), ("V5", 2.5, 1), ("V5", 4.75, 1), ("PG5", 1.2, 1), ("V3", 1.0, 1),
        ("V3", 3.135, 1),
    ],
    "dozen_rails": [
        ("V9", 8.55, 1), ("V5", 4.75, 1), ("V3", 3.135, 1), ("V25", 2.375, 1), ("EN18", 2.5, 1), ("V18", 1.71, 1),
        ("V12", 1.14, 1), ("EN30", 2.5, 1), ("V30", 2.85, 1), ("V6", 5.7, 1), ("GOOD", 2.5, 1),
    ],
    "schmitt_clock": [("RC", 2.9, 1), ("RC", 2.1, -1), ("ALIVE", 1.0, 1), ("ALIVE", 2.0, 1), ("STOPPED", 2.5, -1)],
}  # fmt: skip
"""Nets, levels (V) and directions of the first crossings that are compared."""
SETTINGS = {"reference": ("1e-4", "10u"), "fine": ("1e-5", "2u")}


def run(deck: Path, engine: str, reltol: str, step: str) -> tuple[list[float], dict[str, list[float]], float]:
    """Return times, volts of each node and the seconds that the engine took."""
    nodes = [net.lower() for net, _, _ in WATCHED[deck.stem]]
    text = deck.read_text(encoding="utf-8").replace("@RELTOL@", reltol).replace("@STEP@", step)
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "out.txt"
        printed = " ".join(f"v({node})" for node in dict.fromkeys(nodes))
        control = f".control\nset wr_singlescale\nset wr_vecnames\nrun\nwrdata {out} {printed}\nquit 0\n.endc\n.end\n"
        path = Path(folder) / "deck.cir"
        path.write_text(text.replace(".end\n", control), encoding="utf-8")
        start = time.perf_counter()
        done = subprocess.run([engine, "-b", str(path)], check=False, capture_output=True, text=True, cwd=folder)
        if not out.is_file():
            raise SystemExit(f"{deck.name}: {done.stdout}{done.stderr}")
        took = time.perf_counter() - start
        head, *rows = out.read_text(encoding="utf-8").split("\n")
        columns = list(zip(*(map(float, row.split()) for row in rows if row.strip()), strict=True))
        names = [name.removeprefix("v(").removesuffix(")") for name in head.split()[1:]]
        return list(columns[0]), {name: list(column) for name, column in zip(names, columns[1:], strict=True)}, took


def crossing(times: list[float], volts: list[float], level: float, direction: int) -> float:
    """Return when volts first pass a level in a direction, interpolated."""
    for k in range(1, len(times)):
        before, after = direction * (volts[k - 1] - level), direction * (volts[k] - level)
        if before < 0 <= after:
            return times[k - 1] + (times[k] - times[k - 1]) * before / (before - after)
    raise SystemExit(f"never crossed: {level} V")


def main() -> None:
    """Write crossings.json."""
    engine = sys.argv[1] if len(sys.argv) > 1 else "ngspice"
    version = subprocess.run([engine, "--version"], check=True, capture_output=True, text=True).stdout
    found: dict[str, object] = {"engine": next(word for word in version.split() if word.startswith("ngspice-"))}
    for board, watched in WATCHED.items():
        runs = {name: run(HERE / f"{board}.cir", engine, *settings) for name, settings in SETTINGS.items()}
        found[board] = {
            "seconds_of_the_engine": round(runs["reference"][2], 4),
            "crossings": [
                {
                    "net": net, "volts": level, "rising": direction > 0,
                    **{name: crossing(t, v[net.lower()], level, direction) for name, (t, v, _) in runs.items()},
                }
                for net, level, direction in watched
            ],
        }  # fmt: skip
    (HERE / "crossings.json").write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()

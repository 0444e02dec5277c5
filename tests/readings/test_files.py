"""Files of readings: everything in them is read, or refused in one sentence."""

from __future__ import annotations

from pathlib import Path

import pytest

from seqsim.circuit import Circuit
from seqsim.errors import ReadingError, SeqsimError, UnknownPlaceError
from seqsim.readings import METER, Meter, format_reading, parse_reading, read_readings

YAML = """\
# invented readings
format: 1
meter:
  name: the grey one
  volts: {input_ohms: 11M, counts: 2000, accuracy: {400mV: 0.5% + 2, 1000V: 0.8% + 5}}
  ohms: {open_volts: 0.3V}
readings:
  - EN 0.02
  - Q1.B 602mV @battery
  - {place: V12, kind: ohms, value: 9k2, note: black on GND}
  - {place: R1.2 to Q1.B, value: beep}
  - {place: R1.2, to: Q1.B, kind: continuity, value: OL}
  - place: EN
    value: [0.1, 0.3]
    state: "@running"
    with: [R1 lifted, VBAT limited 0.5A]
  - {place: EN, value: about 2, with: BASE forced 0V 1k and R4 lifted}
reference:
  - EN 0.05
"""


def write(tmp_path: Path, content: str | bytes, name: str = "bench.yaml") -> Path:
    path = tmp_path / name
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return path


def test_a_yaml_file_is_read_whole(board: Circuit, tmp_path: Path) -> None:
    """Both ways of writing a reading, the meter, the known-good board; each reading knows its line."""
    path = write(tmp_path, YAML)
    read = read_readings(board, path)
    assert [format_reading(each) for each in read.readings] == [
        "EN 0.02V @running",
        "Q1.B 602mV @battery",
        "V12 9.2k ohm @off # black on GND",
        "R1.2 to Q1.B beep @off",
        "R1.2 to Q1.B continuity OL @off",
        "EN 0.1..0.3V @running with R1.1 lifted and VBAT limited 0.5A",
        "EN about 2V @running with BASE forced 0V 1000R and R4.1 lifted",
    ]
    assert [each.line for each in read.readings] == [8, 9, 10, 11, 12, 13, 17]
    assert {each.file for each in read.readings} == {str(path)}
    assert [each.value for each in read.reference] == [0.05]
    assert read.meter.name == "the grey one"
    assert read.meter.volts.input_ohms == 11e6
    assert float(read.meter.volts.bound(0.1)) == pytest.approx(0.1 * 0.005 + 2e-4)
    assert read.meter.ohms.open_volts == 0.3
    assert read.meter.ohms.source_ohms == METER.ohms.source_ohms
    assert read.meter.diode == METER.diode


CSV = """\
place,to,kind,value,state,with,note
EN,,,0.02,,,
# a comment
Q1.B,,volts,602mV,battery,,"slow, then steady"

R1.2,Q1.B,,beep,,,
VBAT,,current,0.35,battery,VBAT limited 0.5A,
"""


@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_a_csv_file_is_read_whole(board: Circuit, tmp_path: Path, separator: str) -> None:
    """Comma, semicolon or tab; empty lines and comments are skipped, quotes keep their content."""
    content = CSV.replace("slow, then", "slow; then").replace(",", separator).replace("slow; then", "slow, then")
    if separator == ";":
        content = content.replace("slow, then steady", "slow; then steady")
    read = read_readings(board, write(tmp_path, content, "bench.csv"))
    note = "slow; then steady" if separator == ";" else "slow, then steady"
    assert [format_reading(each) for each in read.readings] == [
        "EN 0.02V @running",
        f"Q1.B 602mV @battery # {note}",
        "R1.2 to Q1.B beep @off",
        "VBAT 0.35A @battery with VBAT limited 0.5A",
    ]
    assert [each.line for each in read.readings] == [2, 4, 6, 7]


def test_columns_may_come_in_any_order_and_few(board: Circuit, tmp_path: Path) -> None:
    """Place and value are enough; a byte-order mark and Windows line ends do no harm."""
    read = read_readings(board, write(tmp_path, "\ufeffValue,Place\r\n3.3,EN\r\n", "bench.csv"))
    assert [format_reading(each) for each in read.readings] == ["EN 3.3V @running"]


def test_both_ways_of_writing_mean_the_same(board: Circuit, tmp_path: Path) -> None:
    """A mapping and a line of shorthand with the same words are the same reading."""
    content = "format: 1\nreadings: [{place: EN, kind: volts, value: 1.5, state: battery, with: R1 lifted, note: warm}]"
    (read,) = read_readings(board, write(tmp_path, content)).readings
    plain = parse_reading(board, "EN 1.5 @battery with R1 lifted # warm")
    apart = {"text": "", "file": None, "line": None}
    assert read.model_copy(update=apart) == plain.model_copy(update=apart)


def test_a_meter_given_by_hand_stays_where_the_file_says_nothing(board: Circuit, tmp_path: Path) -> None:
    """The file overrides single values of the meter that is passed in."""
    mine = Meter.model_validate({"name": "mine", "volts": {"input_ohms": "1M"}})
    path = write(tmp_path, "format: 1\nmeter: {ohms: {most_ohms: 20M}}\nreadings: [EN 1]")
    read = read_readings(board, path, mine)
    assert (read.meter.name, read.meter.volts.input_ohms, read.meter.ohms.most_ohms) == ("mine", 1e6, 20e6)


HEAD = "format: 1\nreadings:\n"
METER_ = "format: 1\nreadings: [EN 1]\n"
BAD: list[tuple[str | bytes, str, int | None, str]] = [
    ("", "bench.yaml", 1, "the file holds no readings; write format: 1"),
    ("\n# nothing\n", "bench.yaml", 1, "the file holds no readings"),
    ("", "bench.csv", 1, "the file holds no readings"),
    ("readings: [EN 1]", "bench.yaml", 1, "does not begin with `format: 1`"),
    ("format: 2\nreadings: [EN 1]", "bench.yaml", 1, "format is '2'"),
    ("format: [1]\nreadings: [EN 1]", "bench.yaml", 1, "format is 'a list'"),
    ("- EN 1", "bench.yaml", 1, "a file of readings is a mapping"),
    ("EN 1", "bench.yaml", 1, "a file of readings is a mapping"),
    ("format: 1", "bench.yaml", 1, "the file holds no readings"),
    ("format: 1\nreadings: []", "bench.yaml", 1, "the file holds no readings"),
    ("format: 1\nreading: [EN 1]", "bench.yaml", 2, "the file has no key 'reading'; did you mean readings"),
    ("format: 1\nreadings: [EN 1]\nreadings: [EN 2]", "bench.yaml", 3, "the file has 'readings' twice"),
    ("format: 1\nreadings: EN 1", "bench.yaml", 2, "readings must be a list"),
    ("format: 1\nreadings: {EN: 1}", "bench.yaml", 2, "readings must be a list"),
    (HEAD + "  - EN: 1\n", "bench.yaml", 3, "'EN:' makes a mapping; write the reading without the colon"),
    (HEAD + "  - [EN, 1]\n", "bench.yaml", 3, "a list stands where a reading should be"),
    (HEAD + "  - EN 1\n  - ENN 1\n", "bench.yaml", 4, "called 'ENN'; did you mean EN"),
    (HEAD + "  - EN 1\n\n  - EN nan\n", "bench.yaml", 5, "'nan' is no value"),
    (HEAD + "  - EN\n", "bench.yaml", 3, "'EN' has no value"),
    (HEAD + "  - ''\n", "bench.yaml", 3, "names no place"),
    (HEAD + "  - {place: EN}\n", "bench.yaml", 3, "a reading has no value"),
    (HEAD + "  - {value: 1}\n", "bench.yaml", 3, "no place is named"),
    (HEAD + "  - {place: EN R1.2, value: 1}\n", "bench.yaml", 3, "'EN R1.2' is not one place"),
    (HEAD + "  - {place: EN, valu: 1}\n", "bench.yaml", 3, "a reading has no key 'valu'; did you mean value"),
    (HEAD + "  - {place: EN, value: 1, value: 2}\n", "bench.yaml", 3, "a reading has 'value' twice"),
    (HEAD + "  - {place: EN, value: {a: 1}}\n", "bench.yaml", 3, "value must be one value"),
    (HEAD + "  - {place: EN, value: [1, 2, 3]}\n", "bench.yaml", 3, "a range has two ends"),
    (
        HEAD + "  - {place: EN, value: 1, kind: ohm}\n  - {place: EN, value: 1, kind: omhs}",
        "bench.yaml",
        4,
        "did you mean ohms",
    ),
    (HEAD + "  - {place: EN, value: -1, kind: ohm}\n", "bench.yaml", 3, "charge is left"),
    (HEAD + "  - {place: EN, value: 1e99}\n", "bench.yaml", 3, "the meter reads up to 1 kV"),
    (HEAD + "  - {place: EN, value: 1, state: runing}\n", "bench.yaml", 3, "did you mean running?"),
    (HEAD + "  - {place: EN, value: 1, with: [R1 liftd]}\n", "bench.yaml", 3, "did you mean lifted"),
    (HEAD + "  - {place: EN, value: 1 @battery}\n", "bench.yaml", 3, "'1 @battery' is no value"),
    (HEAD + "  - &a [*a]\n", "bench.yaml", 3, "refers to what contains it"),
    (HEAD + "  - 'EN 1\n", "bench.yaml", 4, "this is not YAML"),
    (HEAD + "\t- EN 1\n", "bench.yaml", 3, "a tab stands where YAML wants spaces"),
    (METER_ + "meter: good\n", "bench.yaml", 3, "the meter must be a mapping"),
    (METER_ + "meter: {volt: {}}\n", "bench.yaml", 3, "the meter has no key 'volt'; did you mean volts"),
    (METER_ + "meter:\n  volts: {input: 1M}\n", "bench.yaml", 4, "the meter's volts has no key 'input'"),
    (
        METER_ + "meter:\n  volts:\n    counts: 4000\n    input_ohms: wet\n",
        "bench.yaml",
        6,
        "'wet' is not a value in Ω",
    ),
    (METER_ + "meter:\n  volts:\n    accuracy: fine\n", "bench.yaml", 5, "'fine' is not an accuracy"),
    (METER_ + "meter:\n  volts:\n    accuracy: {low: 1% + 2}\n", "bench.yaml", 5, "'low' is not a value in V"),
    (METER_ + "meter:\n  diode: {most_volts: 3.2V}\n", "bench.yaml", 4, "cannot show up to 3.2 V"),
    (b"\x7fELF\x00\x01\x02\xff\xfe", "bench.yaml", 1, "the text is not UTF-8"),
    (b"PK\x03\x04\x00\x00", "bench.yaml", None, "this is a binary file"),
    (HEAD + "  - EN 1\n" * 2001, "bench.yaml", 3, "more than 2000 readings"),
    ("EN 1\n" * 300_000, "bench.yaml", None, ".yaml: the file has 1500000 bytes, more than the"),
    ("[" * 3000, "bench.yaml", 1, "nest"),
    ("place,value\n", "bench.csv", None, "column names but no readings"),
    ("EN,0.02\n", "bench.csv", 1, "'en' is no column of readings"),
    ("place,kind\nEN,volts\n", "bench.csv", 1, "there is no column 'value'"),
    ("place,vlaue\nEN,1\n", "bench.csv", 1, "'vlaue' is no column of readings; did you mean value"),
    ("place,value,place\nEN,1,EN\n", "bench.csv", 1, "the column 'place' stands twice"),
    ("place,value,\nEN,1,\n", "bench.csv", 1, "a column has no name"),
    ("place,value\nEN,1,2\n", "bench.csv", 2, "3 values for 2 columns"),
    ("place,value\nEN,\n", "bench.csv", 2, "'EN' has no value"),
    ("place,value\n,1\n", "bench.csv", 2, "no place is named"),
    ('place,value\nEN,"1\n', "bench.csv", 2, "is not CSV"),
    ("place;value\nEN;0,02\n", "bench.csv", 2, "has a comma; write it like EN 0.02"),
    ("place,value\nEN,1\nENN,1\n", "bench.csv", 3, "called 'ENN'"),
    ("place,value\n" + "EN,1\n" * 2001, "bench.csv", None, "more than 2000 readings"),
]


@pytest.mark.parametrize(("content", "name", "line", "fragment"), BAD, ids=[case[3] for case in BAD])
def test_a_bad_file_is_refused_in_one_sentence(
    board: Circuit, tmp_path: Path, content: str | bytes, name: str, line: int | None, fragment: str
) -> None:
    """The message names file and line, what is wrong and how to mend it."""
    path = write(tmp_path, content, name)
    with pytest.raises((ReadingError, UnknownPlaceError)) as caught:
        read_readings(board, path)
    message = str(caught.value)
    assert fragment in message
    assert message.startswith(f"{path}:{line}: " if line is not None else f"{path}: ")
    assert "\n" not in message
    assert len(message) < 320 + len(str(path))


def test_what_is_no_file_is_refused(board: Circuit, tmp_path: Path) -> None:
    """Folders, missing files, devices and impossible names are named."""
    for path, fragment in (
        (tmp_path, "this is a folder"),
        (tmp_path / "missing.yaml", "no such file of readings"),
        (Path("/dev/zero"), "no regular file"),
        (tmp_path / "a\0b", "cannot be read"),
        (tmp_path / ("x" * 300), "cannot be read"),
    ):
        with pytest.raises(SeqsimError, match=f"^[^(]*{fragment}"):
            read_readings(board, path)


def test_references_that_multiply_are_refused(board: Circuit, tmp_path: Path) -> None:
    """A short file that expands to millions of readings is refused before it is expanded."""
    layers = ["a0: &a0 [" + ", ".join(["EN 1"] * 10) + "]"]
    layers += [f"a{n}: &a{n} [" + ", ".join([f"*a{n - 1}"] * 10) + "]" for n in range(1, 9)]
    content = "format: 1\n" + "\n".join(layers) + "\nreadings: *a8\n"
    with pytest.raises(ReadingError, match="expands to more than"):
        read_readings(board, write(tmp_path, content))

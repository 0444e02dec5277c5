"""Numbers and tables for people."""

from __future__ import annotations

import pytest

from seqsim.wording.result import to_json, to_text
from seqsim.wording.tables import count, quantity, table, volts


@pytest.mark.parametrize(
    ("value", "shown"),
    [(0.0, "0 V"), (0.0004, "0 V"), (0.0213, "21.3 mV"), (3.3, "3.300 V"), (-0.65, "-0.650 V"), (23.96, "23.96 V")],
)
def test_volts_as_a_meter_shows_them(value: float, shown: str) -> None:
    """Millivolts below 0.1 V, three decimals below 10 V, two above."""
    assert volts(value) == shown


@pytest.mark.parametrize(
    ("value", "unit", "shown"),
    [
        (9200.0, "Ω", "9.2 kΩ"),
        ("OL", "Ω", "OL"),
        ([0.1, 0.3], "V", "0.100 V to 0.300 V"),
        (0.35, "A", "350 mA"),
        (None, "V", "?"),
    ],
)
def test_values_of_all_kinds(value: object, unit: str, shown: str) -> None:
    """Numbers carry their unit, ranges both ends, words stand as they are, and what is unknown is a question mark."""
    assert quantity(value, unit) == shown


def test_counts_agree_with_their_noun() -> None:
    """One reading, two readings."""
    assert (count(1, "reading"), count(2, "reading")) == ("1 reading", "2 readings")


def test_markup_in_cells_is_text() -> None:
    """What looks like markup or an emoji in a name is printed as it is."""
    text = to_text(table(("net", ""), [("[bold]x[/bold]", ":warning:")]))
    assert "[bold]x[/bold]" in text
    assert ":warning:" in text


def test_json_refuses_what_is_no_number() -> None:
    """A number that is not finite never reaches JSON."""
    with pytest.raises(ValueError, match="JSON"):
        to_json({"volts": float("nan")})

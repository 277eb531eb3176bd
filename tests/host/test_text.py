"""Text from outside is shown, never obeyed: by a terminal, a spreadsheet or a file system."""

from __future__ import annotations

import json
import tomllib
import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from beamfall.setup.toml_write import write_toml
from beamfall.text import make_file_name, measure_width, show_cell, show_json, show_text

HOSTILE = (
    "\x1b[2J\x1b]0;title\x07", "\x9b31m", "a\rb", "\x00", "\x7f", "\u202egnp.exe", "\u2066x\u2069",
    "\u200f", "\u061c", "\ufeff", "\u2028", "\udcff", "\U000e0041", "\u00ad", "a\nb\tc",
)  # fmt: skip
ANY = st.text(st.characters(codec=None), max_size=40)


def acts(character: str) -> bool:
    """Whether a terminal may do something else than show it (Unicode's general categories)."""
    category = unicodedata.category(character)
    return category in ("Cc", "Cs", "Zl", "Zp") or (
        category == "Cf" and character not in "\u200c\u200d"
    )


@pytest.mark.parametrize("text", HOSTILE)
def test_what_acts_on_a_terminal_is_shown(text: str) -> None:
    for shown in (show_text(text), show_cell(text).replace("\n", ""), make_file_name(text)):
        assert not any(acts(one) for one in shown)
    assert any(acts(one) for one in text)


@given(ANY)
def test_any_text_is_safe_everywhere_and_json_keeps_its_value(text: str) -> None:
    assert not any(acts(one) for one in show_text(text))
    assert not any(acts(one) for one in show_text(text, keep_lines=True) if one != "\n")
    content = show_json({"note": text})
    assert json.loads(content) == {"note": text}
    assert not any(acts(one) for one in content)
    name = make_file_name(text)
    assert name and not set(name) & set('/\\:*?"<>|') and name not in (".", "..")
    assert len(name.encode()) <= 80


def test_plain_text_of_any_language_stays_as_it_is() -> None:
    for text in ("Überraschung", "落下する水滴", "می‌خواهم", "👩‍🔬 µs ±3°", "Kölsch – 5 % “gum”"):  # noqa: RUF001
        assert show_text(text) == text and show_cell(text) == text


@pytest.mark.parametrize(
    "text",
    ["=HYPERLINK(1)", "+1", "-1+1", "@SUM(1)", "\t=1", "\r=1", " =1", "ok\n=cmd", "＝1", "＋1"],  # noqa: RUF001
)
def test_no_cell_is_a_formula(text: str) -> None:
    for line in show_cell(text).split("\n"):
        assert not line.lstrip().startswith(tuple("=+-@＝＋－＠\t\r"))  # noqa: RUF001


def test_a_width_counts_columns_of_the_terminal() -> None:
    assert measure_width("drop") == 4
    assert measure_width("水滴") == 4  # East Asian wide, Unicode Standard Annex 11
    assert measure_width("e\u0301") == 1


def test_a_toml_text_keeps_its_values_and_controls_no_terminal() -> None:
    text = "\u202e\u200b\U000e0001\x85 \u6c34 \U0001f4a7 \u200d"
    written = write_toml({"name": text})
    assert tomllib.loads(written) == {"name": text}
    assert "\u202e" not in written and "\u6c34" in written

"""Quantities with units become SI floats; what cannot be one is refused with the cure."""

from __future__ import annotations

import subprocess
import sys
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from beamfall.errors import UnitError
from beamfall.setup import unit_words, units
from beamfall.setup.unit_kinds import KINDS

# Exact by definition: NIST SP 811 (2008), appendix B.8: 1 in = 0.0254 m, 1 ft = 0.3048 m,
# 1 atm = 101325 Pa; degree Fahrenheit and Celsius: appendix B.8 and SI brochure, 2.3.1.
EXACT = [
    ("length", "62 cm", 0.62),
    ("length", "24 in", 0.6096),
    ("length", "1ft", 0.3048),
    ("length", "2.5e-1 mm", 0.00025),
    ("length", "4 µm", 4e-6),
    ("length", "4 μm", 4e-6),  # the Greek letter, as some keyboards give it
    ("duration", "3.2 ms", 0.0032),
    ("duration", "250 us", 0.00025),
    ("duration", "1.5 min", 90.0),
    ("duration", "+.5 s", 0.5),
    ("length", '24"', 0.6096),
    ("length", "24″", 0.6096),
    ("length", "2'", 0.6096),
    ("length", "23 1/2 in", 0.5969),
    ("length", '3/16"', 0.0047625),
    ("duration", "1/250 s", 0.004),
    ("duration", "3,2 ms", 0.0032),  # a decimal comma
    ("duration", "0,013 s", 0.013),
    ("duration", ",5 s", 0.5),
    ("duration", "12,25 ms", 0.01225),
    ("duration", "1000,125 ms", 1.000125),
    ("volume", "40 uL", 4e-8),
    ("volume", "33.51 mm^3", 3.351e-8),
    ("temperature", "20 degC", 293.15),
    ("temperature", "-40 °F", 233.15),
    ("temperature", "68 degF", 293.15),
    ("temperature", "300 K", 300.0),
    ("pressure", "1013.25 hPa", 101325.0),
    ("pressure", "1 atm", 101325.0),
    ("angle", "-33.9 deg", -33.9),
    ("fraction", "15 %", 0.15),
    ("density", "1.03 g/mL", 1030.0),
    ("viscosity", "1.8 mPa * s", 0.0018),
    ("surface_tension", "45 dyn/cm", 0.045),
]


@pytest.mark.parametrize(("kind", "text", "value"), EXACT)
def test_a_quantity_is_the_nearest_float(kind: str, text: str, value: float) -> None:
    assert units.parse_quantity(text, kind) == value


# Units outside the fast table, by pint. 1 mil = 25.4 µm and 1 inHg (conventional) = 3386.389 Pa (NIST SP 811,
# B.8); 1 rad = 180/pi degrees.
BY_PINT = [
    ("length", "2 thou", 50.8e-6),
    ("pressure", "29.92 inHg", 29.92 * 3386.389),
    ("angle", "0.5 rad", 28.64788975654116),
    ("speed", "1 ft/s", 0.3048),
    ("viscosity", "1.8 mPa s", 0.0018),
]


@pytest.mark.parametrize(("kind", "text", "value"), BY_PINT)
def test_other_units_are_known_too(kind: str, text: str, value: float) -> None:
    assert units.parse_quantity(text, kind) == pytest.approx(value, rel=2e-6)


@pytest.fixture(scope="module")
def registry() -> Any:
    """pint 0.25: an independent table of units."""
    import pint

    return pint.UnitRegistry(autoconvert_offset_to_baseunit=True)


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_the_fast_table_agrees_with_pint(kind: str, registry: Any) -> None:
    known = KINDS[kind]
    target = registry.parse_units("" if known.si_unit == "1" else known.si_unit)
    ours = {"°C", "℃", "C", "°F", "F", "celsius", "fahrenheit"}  # pint reads C as coulomb
    ours |= {'"', "″", "”", "'", "′", "’"}
    for unit in known.units:
        text = "percent" if unit == "%" else unit.replace("·", "*")
        if unit in ours or "m3" in text or "m³" in text or text in ("cc", "°"):
            continue
        theirs = registry.Quantity(3.0, text).to(target).magnitude
        assert units.parse_quantity(f"3 {unit}", kind) == pytest.approx(theirs, rel=1e-12), unit


BAD = [
    (62, "length"),
    (0.5, "duration"),
    ("62", "length"),
    ("3 ms", "length"),
    ("3 kg", "duration"),
    ("3 foo", "duration"),
    ("ms", "duration"),
    ("nan s", "duration"),
    ("", "length"),
    (True, "length"),
    (None, "length"),
    ("1e999 m", "length"),
    ("1e99999999999999999999 thou", "length"),
    ("3 m**9**9**9", "length"),
    ("3 m; import os", "length"),
    ("1,000 m", "length"),  # a thousand, or one with three decimals?
    ("1.000,5 m", "length"),
    ("1,000.5 m", "length"),
    ("3 ms\x1b[2J", "duration"),
]


@pytest.mark.parametrize(("text", "kind"), BAD)
def test_what_is_no_quantity_is_refused_with_key_value_and_an_example(
    text: object, kind: str
) -> None:
    with pytest.raises(UnitError) as caught:
        units.parse_quantity(text, kind, key="x", example=KINDS[kind].example)
    assert (caught.value.key, caught.value.found) == ("x", text)
    assert KINDS[kind].example in caught.value.expected
    assert str(caught.value).startswith("x = ") and str(caught.value).isprintable()


@pytest.mark.parametrize(
    ("value", "kind", "example", "bounds", "suggested"),
    [
        ("3", "duration", "10 s", None, "3 s"),  # beam --for
        ("31", "length", "31 mm", None, "31 mm"),  # seek: jet 31
        (62, "length", "2 mm", (2e-4, 0.01), "2 mm"),  # no nozzle is 62 mm wide
        (3, "length", "2 mm", (2e-4, 0.01), "3 mm"),
        (0.6, "length", "60 cm", (0.02, 5.0), "60 cm"),
    ],
)
def test_a_number_without_a_unit_gets_a_suggestion_that_fits_its_key(
    value: object, kind: str, example: str, bounds: tuple[float, float] | None, suggested: str
) -> None:
    with pytest.raises(UnitError) as caught:
        units.parse_quantity(value, kind, key="x", example=example, bounds=bounds)
    assert suggested in caught.value.likely or suggested in caught.value.expected


@pytest.mark.parametrize(
    ("text", "likely"),
    [("62", ("62 cm",)), ("6200", ()), ("1,105 cm", ("1.105 cm", "1105 cm")), ("62 ms", ())],
)
def test_what_was_likely_meant_is_read_when_it_is_taken(text: str, likely: tuple[str, ...]) -> None:
    with pytest.raises(UnitError) as caught:
        units.parse_quantity(text, "length", example="48 cm", bounds=(0.02, 5.0))
    assert caught.value.likely == likely
    for value in likely:
        assert units.parse_quantity(value, "length") > 0.0


def test_a_value_out_of_bounds_likely_has_another_unit() -> None:
    assert units.suggest_unit("3 cm", "length", "2 mm", (0.0002, 0.01)) == "3 mm"
    assert units.suggest_unit("2,5 m", "length", "2 mm", (0.0002, 0.01)) == "2.5 mm"
    assert units.suggest_unit("300 cm", "length", "2 mm", (0.0002, 0.01)) == ""


def test_two_times_that_differ_are_never_shown_alike() -> None:
    for one, other in ((0.020001, 0.02), (20.0, 20.00000001), (1e-6, 1.00001e-6)):
        shown = unit_words.format_two_durations(one, other)
        assert shown[0] != shown[1]
    assert unit_words.format_two_durations(0.02, 0.02) == ("20 ms", "20 ms")


@given(st.text(max_size=30))
def test_no_text_does_anything_but_parse_or_refuse(text: str) -> None:
    try:
        value = units.parse_quantity(text, "duration")
    except UnitError:
        return
    assert value == value and abs(value) != float("inf")


def test_ticks_are_the_nearest_and_halves_go_to_the_even_one() -> None:
    assert units.to_ticks(0.0032, 125_000_000) == 400_000
    # 4 ns and 12 ns are half a tick and a tick and a half of 125 MHz; the float 12e-9 lies below.
    assert units.to_ticks(4e-9, 125_000_000) == 0
    assert units.to_ticks(12e-9, 125_000_000) == 2
    assert units.to_ticks(20e-9, 125_000_000) == 2


@given(
    st.integers(0, 2**30 - 1), st.sampled_from([1_000_000, 48_000_000, 125_000_000, 133_000_000])
)
def test_ticks_survive_the_way_over_seconds(ticks: int, clock_hz: int) -> None:
    assert units.to_ticks(ticks / clock_hz, clock_hz) == ticks


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        (unit_words.format_ms(0.0032), "3.200 ms"),
        (unit_words.format_ticks(400_000, 125_000_000), "3.200 ms"),
        (unit_words.format_ticks(None, 125_000_000), "-"),
        (unit_words.format_duration(0.00025), "250 µs"),
        (unit_words.format_duration(12.5), "12.5 s"),
        (unit_words.format_duration(0.0), "0 s"),
        (unit_words.format_duration(8e-9), "8 ns"),
        (unit_words.format_length(0.62), "62 cm"),
        (unit_words.format_length(0.002), "2 mm"),
        (unit_words.format_volume(33.51e-9), "33.51 µL"),
        (unit_words.format_quantity(293.15, "temperature"), "20 °C"),
    ],
)
def test_numbers_are_shown_with_their_unit(text: str, shown: str) -> None:
    assert text == shown


def test_common_units_do_not_import_pint() -> None:
    """pint takes 0.2 s to import; a rig file must not cost that."""
    code = (
        "import sys; from beamfall.setup.rig import example_rig; example_rig();"
        "assert 'pint' not in sys.modules and 'numpy' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], check=True)

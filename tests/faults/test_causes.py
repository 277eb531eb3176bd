"""Finder and simulation know the same causes, and each has its advice."""

from __future__ import annotations

import ast
import re
from dataclasses import replace
from pathlib import Path

import pytest

import beamfall
from beamfall.errors import DefinitionError, UserError
from beamfall.faults import catalogue
from beamfall.faults.advice import list_advice
from beamfall.faults.catalogue import load_catalogue, read_catalogue
from beamfall.faults.checks import CHECKS
from beamfall.setup.rig import example_rig
from beamfall.setup.signals import SignalKind
from beamfall.sim.build import draw_model
from beamfall.sim.faults import FAULTS, make_faulty

CAUSES = load_catalogue().causes
PACKAGE = Path(beamfall.__file__).parent


def test_every_cause_can_be_injected_and_every_fault_can_be_found() -> None:
    assert set(CAUSES) == set(FAULTS)
    assert len(CAUSES) == len(FAULTS) >= 24


def test_names_are_lower_case_with_hyphens() -> None:
    assert all(re.fullmatch(r"[a-z]+(-[a-z]+)+", name) for name in CAUSES)


def test_every_cause_has_advice() -> None:
    for cause in CAUSES.values():
        assert cause.advice and not cause.advice.endswith("."), cause.name
        assert all(caution.endswith(".") for caution in cause.cautions), cause.name


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ('name = "valve-leaking"', 'name = "valve-dripping"'),  # signs name a cause that is gone
        (
            "nozzle-clogged = { none = 0.85, small = 0.1 }",
            "nozzle-clogged = { none = 0.85, small = 0.2 }",
        ),
        ("extra = 0.92", "several = 0.92"),  # no outcome of that sign
    ],
)
def test_a_catalogue_that_contradicts_itself_is_refused(before: str, after: str) -> None:
    text = catalogue._FILE.read_text(encoding="utf-8")
    assert before in text
    with pytest.raises((DefinitionError, ValueError)):
        read_catalogue(text.replace(before, after, 1))


def test_whoever_is_sent_to_a_plug_or_to_the_flash_is_warned() -> None:
    for name in ("beam-unplugged", "valve-unplugged", "outputs-swapped", "beam-wire-shorted"):
        assert load_catalogue().cautions["plugs"] in CAUSES[name].cautions
    for name in ("flash-cable", "outputs-swapped"):
        assert load_catalogue().cautions["contacts"] in CAUSES[name].cautions
    for name in ("flash-off", "flash-asleep"):
        assert load_catalogue().cautions["strobe"] in CAUSES[name].cautions
    flashing = {"saw-flash", "flash-button", "shutter", "picture"}
    asked = {check.question.name: check.question for check in CHECKS if check.question}
    cautions = load_catalogue().cautions
    assert all(cautions["strobe"] in asked[name].caution for name in flashing)
    wet = {"saw-drop", "heard-valve", "cap", "nozzle", "bottle", "coil"}
    assert all(cautions["wet"] in asked[name].caution for name in wet)


def test_a_supply_that_was_never_switched_on_is_thought_of() -> None:
    """The board runs from USB alone (hardware/build.md, step 6), so that nothing but the valve shows it."""
    asked = {check.question.name: check.question.text for check in CHECKS if check.question}
    assert "supply" in asked["valve-plug"]
    assert "supply" in CAUSES["valve-unplugged"].advice


def test_every_cause_is_told_by_some_sign() -> None:
    told = {name for check in CHECKS for sign in check.signs for name in sign.chances}
    assert set(CAUSES) - told == {"firmware-differs"}  # the hello tells that


def test_what_signs_show_can_be_listed_in_a_sentence() -> None:
    """Several are joined by commas: inside one a comma would be taken for the next."""
    words = [text for check in CHECKS for sign in check.signs for text in sign.words.values()]
    assert not [text for text in words if "," in text or ";" in text]


def imports_of(folder: str) -> set[str]:
    """What the modules of a folder import when they run; not what only type checkers see."""
    found: set[str] = set()
    for file in sorted((PACKAGE / folder).glob("*.py")):
        tree = ast.parse(file.read_text(encoding="utf-8"))
        for node in list(ast.walk(tree)):
            if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test):
                node.body = []
        for node in ast.walk(tree):
            if isinstance(node, ast.ImportFrom):
                found.add(node.module or "")
            elif isinstance(node, ast.Import):
                found.update(alias.name for alias in node.names)
    return found


def test_simulated_rig_and_finder_know_nothing_of_each_other() -> None:
    assert not [name for name in imports_of("sim") if name.startswith("beamfall.faults")]
    assert not [name for name in imports_of("faults") if name.startswith("beamfall.sim")]


def test_a_fault_of_a_part_that_the_rig_has_not_is_refused_with_its_section() -> None:
    model = draw_model(example_rig(), 0)
    for name, fault in FAULTS.items():
        lacking = {SignalKind.BEAM: "beams", SignalKind.FLASH: "flashes"}.get(fault.part)
        if lacking is None:
            continue
        with pytest.raises(UserError, match=rf"\[\[{fault.part}\]\]"):
            make_faulty(replace(model, **{lacking: ()}), 0, name)


def test_a_caution_that_causes_share_is_given_once() -> None:
    """Four likely causes around the flash once warned of epilepsy three times in one paragraph."""
    causes = ("flash-off", "flash-asleep", "flash-cable", "light-sensor-blind")
    shared = [one for name in causes for one in CAUSES[name].cautions]
    assert len(shared) > len(set(shared)), "else this test shows nothing"
    advice = list_advice(causes, {})
    assert all(advice.count(caution) == 1 for caution in shared)
    assert all(f"{CAUSES[name].advice}." in advice for name in causes)

"""An added message does not lock out an older host or an older board that does not use it."""

from __future__ import annotations

import copy
import tomllib
from typing import Any

import pytest

from beamfall.errors import DefinitionError, DefinitionMismatch
from beamfall.link import Link
from beamfall.resources import find_protocol
from beamfall.sim.embedded import JumperRig, SimulatedTransport
from beamfall.sim.firmware_modules import load_other_firmware
from beamfall.wire import Message, get_definition
from beamfall.wire.definition import parse_definition

CONTENT = tomllib.loads((find_protocol() / "messages.toml").read_text())
NEW = get_definition()


def test_without_what_was_added_it_is_the_earlier_definition() -> None:
    assert NEW.extends
    for extended in NEW.extends:
        assert NEW.without(extended.added).digest == extended.digest


def connect(definition: Any = None, firmware: Any = None) -> Link:
    return Link(SimulatedTransport(JumperRig(1, 9), seed=1, firmware=firmware), definition)


def test_an_older_host_uses_a_newer_board() -> None:
    for extended in NEW.extends:
        link = connect(NEW.without(extended.added))
        welcome = link.open()
        assert welcome.definition == extended.digest
        assert link.request(Message("status", {})).name == "status_is"


def test_a_newer_host_uses_an_older_board_and_says_what_it_lacks() -> None:
    link = connect(firmware=load_other_firmware("older"))
    welcome = link.open()
    assert welcome.definition == NEW.extends[0].digest
    assert link.request(Message("status", {})).name == "status_is"
    with pytest.raises(DefinitionMismatch, match="edge-constant"):
        link.request(Message("edge_constant", {"set": 0, "ticks": 0}))


def test_a_definition_that_only_claims_to_extend_is_refused() -> None:
    wrong = copy.deepcopy(CONTENT)
    wrong["extends"][0]["added"].append("trouble")  # a report reaches a host that has not asked
    with pytest.raises(DefinitionError, match="trouble"):
        parse_definition(wrong, "test")
    wrong = copy.deepcopy(CONTENT)
    wrong["extends"][0]["digest"] = "00" * 8
    with pytest.raises(DefinitionError, match="0000000000000000"):
        parse_definition(wrong, "test")

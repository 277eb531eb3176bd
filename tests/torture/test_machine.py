"""The host library and the firmware with the worst of lines between them, judged at the pins.

A rule-based state machine: hypothesis draws what the host asks for and what happens to the frames on the way
(machine_rules.py and the modules that it takes rules from). What must hold whatever happens:

1. a table that did not arrive whole never runs: what the pins do is always the start of a table sent whole;
2. a release happens once or not at all. The host knows which, or says ReleaseUnknown: nothing else is let pass;
3. reports reach the host in order; a number that never comes is in a `forgotten` or lost with a life of the board;
   the edges of shots, service actions and watches are all those of the pins, up to the end of the record;
4. the outputs are off after abort, reset, fault, maintenance and the loss of the host;
5. no output is on for longer than its limit or its share of the duty window, no flash fires and no valve opens again
   too soon;
6. on a good line a good table shoots, a service action is carried out, the button releases the table that is ready,
   and a slot gives back what was put in it: every history ends with such a shot.

`test_the_machine_finds` breaks the code in the ways listed in machine_mutations.py; the machine must find each within
as many histories as it survives unbroken. Histories are the same every time. Others, and more: machine_run.py.
"""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from machine_mutations import MUTATIONS
from machine_pins import Told
from machine_run import run_until_found

from beamfall.sim.firmware_modules import load_firmware


@pytest.fixture(autouse=True)
def store_as_it_was() -> Iterator[None]:
    """Histories change how much room a board has for reports."""
    names = load_firmware().board.__init__.__globals__
    before = names["STORE_BYTES"]
    yield
    names["STORE_BYTES"] = before


@pytest.mark.long
def test_the_promises_hold_whatever_happens_to_the_line() -> None:
    """Also in all the histories that a mutation gets: what is found there is the mutation's."""
    run_until_found()


def test_a_release_number_used_again_settles_the_unknown_one_before() -> None:
    """The old fault: the table of the earlier release was looked up under the name of the later one, a KeyError."""
    told = Told()
    told.note_unknown((7, 3), 1)
    assert (told.most(1), told.most(2)) == (1, 0)
    told.note_done((7, 3), 2)  # by another host: so the board had not used it for table 1
    assert (told.most(1), told.most(2)) == (0, 1)
    with pytest.raises(AssertionError, match="taken twice"):
        told.note_done((7, 3), 1)


@pytest.mark.parametrize("mutation", MUTATIONS)
@pytest.mark.long
def test_the_machine_finds(mutation: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """It is found by an assertion, and not by anything else."""
    MUTATIONS[mutation](monkeypatch)
    with pytest.raises(AssertionError):
        run_until_found()

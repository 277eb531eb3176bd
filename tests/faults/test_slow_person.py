"""People take their time: while the board watches what they do, and between questions."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from typing import Any

import pytest
from needs import need_micropython
from tiers import in_full

from beamfall.board import Board
from beamfall.board_session import HOST_TIMEOUT_S
from beamfall.errors import LinkLost, Refused
from beamfall.faults import evidence
from beamfall.faults.checks import CHECKS
from beamfall.faults.fault_rig import FaultRig
from beamfall.faults.finder import Finder, Finding
from beamfall.faults.questions import Listen, Question, listen_aside
from beamfall.faults.setup import Setup
from beamfall.sim.person import SimulatedPerson
from beamfall.sim.room import Room
from beamfall.wire import Message

BY_NAME = {check.name: check for check in CHECKS}


@pytest.fixture(params=["sim", "sim:micropython"])
def port(request: pytest.FixtureRequest) -> str:
    kind: str = request.param
    if kind == "sim:micropython":
        need_micropython()
    return kind


@dataclass
class SlowPerson:
    """Does and answers what is true, `seconds` of the board's time after being asked.

    `waits` is how somebody waits for them: by listening to the board, or without a word to it.
    `after_wait` is what happens then, before they do what they were asked for.
    """

    board: Board
    seconds: float
    silent: bool = False
    after_wait: Callable[[], None] = lambda: None
    acts: int = 0
    inner: SimulatedPerson = field(init=False)

    def __post_init__(self) -> None:
        rig: Any = self.board.transport.rig
        self.inner = SimulatedPerson(Room(rig), seed=rig.seed)

    def begin(self, cautions: tuple[str, ...]) -> None:
        self.inner.begin(cautions)

    def prepare(self, question: Question) -> None:
        self.board.transport.sleep(self.seconds)
        self.inner.prepare(question)

    def act(self, question: Question, listen: Listen) -> None:
        self.acts += 1
        if self.silent:
            self.board.transport.sleep(self.seconds)
        else:
            end_s = self.board.transport.clock() + self.seconds
            while self.board.transport.clock() < end_s:
                listen(0.05)
        self.after_wait()
        self.inner.act(question, listen)

    def answer(self, question: Question) -> str:
        self.board.transport.sleep(self.seconds)
        return self.inner.answer(question)

    def finish(self, question: Question) -> None:
        self.inner.finish(question)


def look(board: Board, setup: Setup, person: SlowPerson) -> Finding:
    rig: Any = board.transport.rig
    setup = replace(setup, sequence=rig.set_by_photographer(setup.sequence))
    finder = Finder(setup)
    finder.note_connection("opened")
    return finder.run(FaultRig(board, setup, person))


def outcomes_of(finding: Finding, test: str) -> list[str]:
    return [one for step in finding.steps for sign, one in step.outcomes.items() if sign == test]


@pytest.mark.parametrize("seconds", [8.0, *in_full(2.0, 40.0)])
@pytest.mark.parametrize("fault", ["beam-misaligned", *in_full("beam-blind-by-ambient-light")])
def test_a_slow_person_changes_nothing(port: str, fault: str, seconds: float, setup: Setup) -> None:
    with Board.connect(f"{port}?fault={fault}", seed=1) as board:
        person = SlowPerson(board, seconds)
        finding = look(board, setup, person)
        assert finding.ranked[0][0] == fault, finding.ranked[:3]
        assert person.acts >= 1
        assert not [step.trouble for step in finding.steps if step.trouble]
        assert board.status().state.name != "fault"


def test_a_board_that_would_lose_its_host_hears_it_all_along(port: str, setup: Setup) -> None:
    """With the time-out of every shot, and a check that watches right after a drop has fallen."""
    with Board.connect(port, seed=1) as board:
        person = SlowPerson(board, 3.0 * HOST_TIMEOUT_S)
        bench = FaultRig(board, setup, person)
        bench.drip()
        heard: list[float] = []
        ask_status = board.status

        def status() -> Any:
            heard.append(board.transport.clock())
            return ask_status()

        board.status = status  # type: ignore[method-assign]
        assert BY_NAME["finger"].run(bench) == {"finger": "edges"}
        gaps = [later - one for one, later in zip(heard, heard[1:], strict=False)]
        assert len(gaps) > 15 and max(gaps[1:]) < 0.5 * HOST_TIMEOUT_S


class EndsWatches:
    """What firmware before 2026-11 did when its host was silent, `times` times: the watch ends in a fault."""

    def __init__(self, board: Board, times: int) -> None:
        transport: Any = board.transport
        self.controller = transport._board.controller
        self.cause = int(board.link.codec.definition.enum("cause")["lost_host"])
        self.left = times

    def lose_host(self) -> None:
        if self.left > 0:
            self.left -= 1
            self.controller.fail(self.cause)


@pytest.mark.parametrize("name", ["finger", "cover", "wiggle", "button"])
def test_a_watch_that_the_board_has_ended_is_not_read_but_made_again(
    name: str, setup: Setup
) -> None:
    with Board.connect("sim?fault=beam-contact-loose", seed=1) as board:
        old = EndsWatches(board, times=2)
        person = SlowPerson(board, 8.0, silent=True, after_wait=old.lose_host)
        bench = FaultRig(board, setup, person)
        board.set_host_timeout(0.0)  # the fault is the one above, whatever this firmware does
        seen = BY_NAME[name].run(bench)
        assert person.acts == 3
        assert seen[name] in ("edges", "changes", "seen"), "what was done the third time was seen"
        assert bench.trouble == ""
        assert board.status().state.name == "idle"


def test_a_check_goes_on_where_every_watch_is_ended_by_the_board(setup: Setup) -> None:
    """What could not be read must not speak against the beam; and no error ends the check."""
    with Board.connect("sim?fault=beam-misaligned", seed=1) as board:
        old = EndsWatches(board, times=1000)
        person = SlowPerson(board, 8.0, silent=True, after_wait=old.lose_host)
        finding = look(board, setup, person)
        acted = [step for step in finding.steps if step.check.name in ("finger", "cover", "wiggle")]
        assert acted
        for step in acted:
            assert step.outcomes == {}
            assert "lost-host" in step.describe()
        assert board.status().state.name == "idle"


def test_a_board_in_fault_is_brought_out_of_it(port: str, setup: Setup) -> None:
    """Another program may have left it so; a refusal is no reason to end a check."""
    with Board.connect(port, seed=1) as board:
        bench = FaultRig(board, setup, SlowPerson(board, 0.0))
        fault_by_silence(board)
        assert BY_NAME["rest"].run(bench) == {"rest": "clear"}
        assert bench.trouble == ""


def fault_by_silence(board: Board) -> None:
    """A valve held open for 3 s, and a host that allows itself to be silent for 1 s: the board gives up."""
    board.set_host_timeout(1.0)
    fields = {"output": 1, "width_ms": 3000}
    token = 0
    try:
        board.link.request(Message("rinse", {"token": 0, **fields}))
    except Refused as refusal:
        token = refusal.detail
    board.link.request(Message("rinse", {"token": token, **fields}))
    board.transport.sleep(2.5)
    assert board.status().state.name == "fault"
    board.set_host_timeout(HOST_TIMEOUT_S)


@pytest.mark.parametrize("by_host", [True, False])
def test_what_is_refused_for_good_is_said_and_not_asked_again(
    by_host: bool, setup: Setup, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By this host, which knows the board's limits, or by the board itself."""
    with Board.connect("sim", seed=1) as board:
        too_long = replace(setup, valve=replace(setup.valve, opening_s=10.0))
        bench = FaultRig(board, too_long, SlowPerson(board, 0.0))
        if not by_host:
            ticks = board.to_ticks(10.0)
            monkeypatch.setattr(
                board, "drip", lambda *_: board._serve("drip", output=1, width_ticks=ticks)
            )
        words = "an opening of 10 s" if by_host else "over-limit"
        assert BY_NAME["drip"].run(bench) == {}
        assert words in bench.trouble
        finding = Finder(too_long).run(bench)
        dripped = next(step for step in finding.steps if step.check.name == "drip")
        assert words in dripped.describe()
        asked = next(one for one in finding.to_json()["tests"] if one["test"] == "drip")
        assert words in asked["trouble"]


def wait_for(what: Callable[[], object]) -> None:
    end = time.monotonic() + 60.0
    while not what():
        assert time.monotonic() < end
        time.sleep(0.01)


# -- at a prompt -----------------------------------------------------------------------------------------------
def test_a_board_is_listened_to_while_somebody_sits_at_a_prompt() -> None:
    """A simulated board's time passes meanwhile, about as fast as the clock on the wall, and no reports pile up."""
    with Board.connect("sim?fault=valve-leaking", seed=1) as board:
        board.watch(True)
        began_s = board.transport.clock()
        heard: list[Any] = []
        began = time.monotonic()
        with listen_aside(lambda seconds: heard.extend(board.pump(seconds))):
            wait_for(lambda: heard)  # a valve that leaks lets some drops fall
        sat_s = time.monotonic() - began
        passed_s = board.transport.clock() - began_s
        board.watch(False)
        assert 0.1 < passed_s < 2.0 * sat_s + 0.5


def test_what_fails_while_listening_aside_is_raised_at_the_end() -> None:
    asked: list[float] = []

    def listen(seconds: float) -> None:
        asked.append(seconds)
        raise LinkLost("the cable is out")

    with pytest.raises(LinkLost), listen_aside(listen):
        wait_for(lambda: asked)


def test_ctrl_c_at_a_prompt_leaves_the_board_to_whoever_puts_it_off() -> None:
    calls: list[float] = []
    with pytest.raises(KeyboardInterrupt), listen_aside(calls.append):
        wait_for(lambda: calls)
        raise KeyboardInterrupt
    count = len(calls)
    time.sleep(0.2)
    assert len(calls) == count, "nobody uses the board any more"


@pytest.fixture
def slow_enter(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Somebody who presses Enter 2.5 s after being asked to act, and at once when asked anything else."""
    from beamfall.cli.check import CheckTerminal

    def read(_: Any, text: str) -> str:
        if text.startswith("Press Enter when it is done"):
            time.sleep(2.5)
        return "no" if text.startswith("Your answer") else ""

    monkeypatch.setattr(CheckTerminal, "read", read)
    return None


@pytest.mark.full
@pytest.mark.usefixtures("slow_enter")
def test_the_terminals_person_may_take_longer_than_the_boards_time_out(setup: Setup) -> None:
    from beamfall.cli.check import CheckTerminal
    from beamfall.workflows.check import PersonAtRig
    from beamfall.workflows.steps import People

    with Board.connect("sim", seed=1) as board:
        board.set_host_timeout(1.5)
        bench = FaultRig(board, setup, PersonAtRig(People(CheckTerminal())))
        began_s = board.transport.clock()
        assert BY_NAME["button"].run(bench) == {"button": "none"}
        assert board.transport.clock() - began_s > 2.0 + 1.0, (
            "it watched while Enter was waited for"
        )


@pytest.mark.parametrize(
    ("ticks", "most"),
    [([], 0), ([5], 1), ([0, 100, 200, 300], 2), ([0, 10, 20, 30, 500], 4), ([0, 100, 199], 2)],
)
def test_the_densest_span_is_counted(ticks: list[int], most: int) -> None:
    assert evidence.count_densest(ticks, 100) == most

"""The host of the state machine, its board, the line between them, and a record of what the host is told."""

from __future__ import annotations

import itertools
import sys
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import Any

from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant
from line import FRAME_FAULTS, MS, BadLine, TruthRig
from machine_pins import PinJudge, Told
from machine_reports import Heard, ReportJudge
from machine_tables import BEAM1, KINDS, RINSE_MAX_MS, Plan

from beamfall.board import Board, Ticket
from beamfall.errors import (
    BeamfallError,
    BoardRestarted,
    LinkError,
    NoAnswer,
    NotOpen,
    Refused,
    ReleaseUnknown,
    ShotError,
)
from beamfall.events import Outcome
from beamfall.link import Link, LinkTiming, Report
from beamfall.sim.embedded import SimulatedTransport, make_entropy
from beamfall.sim.firmware_modules import load_firmware
from beamfall.wire import Message

TIMING = LinkTiming(
    first_s=0.05, growth=2.0, longest_s=0.4, tries=5, hello_tries=8, reconnect_s=1.0
)
_SEED = 1
# Room for reports: little, so that some are forgotten, or as much as a board has.
STORES = (900, 900, 8192)

_mild = st.sampled_from(
    [fault for fault in FRAME_FAULTS if not fault.startswith(("reset", "unplug"))]
)
faults = st.lists(
    st.tuples(st.one_of(_mild, _mild, st.sampled_from(FRAME_FAULTS)), st.integers(0, 1000)),
    min_size=1,
    max_size=6,
)
# How the end of a request gets lost: its answer, the cable for a moment or for long, the board before or after.
breaks = st.sampled_from(
    [
        [("lose", 0)] * 2,
        [("lose", 0)] * 8,
        [("lose", 0)] * 2 + [("reset", 0)],
        [("lose", 0)] * 5 + [("reset", 0)],
        [("unplug", 0)],
        [("unplug", 6)],
        [("reset", 0)],
        [("reset_after", 0)],
        [("lose", 0), ("unplug", 6)],
    ]
)
perhaps_faults = st.one_of(st.just([]), st.just([]), faults, breaks)
kinds = st.sampled_from(KINDS)

Faults = list[tuple[str, int]]
totals: Counter[str] = Counter()  # over all histories of this process, for the longer runs


def _boot_id(life: int) -> int:
    """The random numbers of the board in that life, from which the simulated chance comes."""
    return int.from_bytes(make_entropy(_SEED, life), "little") & 0x3FFFFFFF


class HostMachine(RuleBasedStateMachine):
    """What all rules share. `self.host` is None while no host gets through."""

    def __init__(self) -> None:
        super().__init__()
        self.host: Board | None = None
        self.ticket: tuple[Ticket, int] | None = None
        self.sessions = itertools.count(100)
        self.numbers = itertools.count(1)
        self.rig = TruthRig()
        self.told = Told()
        self.pins = PinJudge(self.rig, self.told)
        self.heard = ReportJudge(self.pins, self.told)
        self.saved: dict[int, set[bytes | None]] = {}  # by slot: what may be in it
        self.chosen: set[int] = {0}

    @initialize(room=st.sampled_from(STORES))
    def power_up(self, room: int) -> None:
        load_firmware().board.__init__.__globals__["STORE_BYTES"] = room
        self.line = BadLine(SimulatedTransport(self.rig, seed=_SEED))
        self._new_host()

    # -- time ----------------------------------------------------------------------------------------------------
    @property
    def now(self) -> int:
        """Ticks of this life's clock."""
        ticks: int = self.line.inner._channel.now
        return ticks

    @property
    def time(self) -> int:
        """Ticks of the clock of all lives."""
        return self.now + self.rig.base

    @invariant()
    def the_pins_keep_the_promises(self) -> None:
        if self.host is not None:
            self.pins.look(self.time)
            assert not (self.line.in_maintenance and self.rig.on), "outputs are on in maintenance"

    # -- hosts ---------------------------------------------------------------------------------------------------
    def _make_link(self) -> Link:
        link = Link(
            self.line,
            timing=TIMING,
            reconnect=self.line.open,
            acknowledge_on_receipt=False,
            draw_session=lambda: next(self.sessions),
        )
        pump, last = link.pump, dict[int, int]()

        def watched(timeout_s: float) -> list[Report]:
            got = pump(timeout_s)
            self._note_boot(link)
            for report in got:
                self.heard.take(report, last.get(report.boot_id))
                last[report.boot_id] = report.number
            return got

        link.pump = watched  # type: ignore[method-assign]
        return link

    def _new_host(self) -> None:
        """The old host has died; another one comes, if it gets through."""
        self.ticket = None
        self.host = None
        link = self._make_link()
        with suppress(LinkError):  # the line is that bad: no host for now
            link.reopen()
            self.host = Board(link)
            self._note_boot(link)

    def _note_boot(self, link: Link) -> None:
        """Which life that is: the rig counts lives, and the boot id tells them apart. It may have ended."""
        if link.welcome is not None and link.welcome.boot_id not in self.heard.lives:
            boot_id = link.welcome.boot_id
            lives = range(1, self.rig.boot + 1)
            (life,) = [life for life in lives if _boot_id(life) == boot_id]
            self.heard.lives[boot_id] = Heard(life)

    @contextmanager
    def _trying(self) -> Iterator[None]:
        """The library may report anything of a bad line; what it must not say is checked where it matters."""
        with suppress(LinkError, Refused, ShotError):
            yield
        if self.host is not None:
            self._note_boot(self.host.link)

    @contextmanager
    def _must(self, what: str) -> Iterator[None]:
        """On a good line nothing fails."""
        try:
            yield
        except BeamfallError as error:
            raise AssertionError(f"on a good line, {what}: {error}") from error

    def _spoil(self, to_board: Faults, to_host: Faults) -> None:
        self.line.to_board.extend(to_board)
        self.line.to_host.extend(to_host)

    def _make_all_well(self) -> Board:
        """Wait until the line is good, no input will change, nothing is running, and the reports have been read."""
        self.line.heal()
        if self.line.in_maintenance:
            self.line.reset()
        while self.rig.inputs_to_come:
            self.line.sleep(0.05)
        self.line.sleep(0.03)
        if self.host is None:
            self._new_host()
        assert self.host is not None, "no host gets through to the board on a good line"
        with self._must("asking and aborting"):
            with suppress(BoardRestarted):
                self.host.pump(0.0)
                self.host.status()
            self.host.status()
            self._abort()
            self._listen_to_the_end()
        self._note_boot(self.host.link)
        return self.host

    def _listen_to_the_end(self) -> None:
        assert self.host is not None
        while self.host.pump(0.6):
            self.host.settle()
        self.host.settle()

    # -- what can end a watch, and what can be under way ------------------------------------------------------------
    @contextmanager
    def _ending_watches(self) -> Iterator[None]:
        """Put this around anything that ends a watch."""
        life, asked = self.rig.boot, self.time
        going = [w for w in self.heard.watches if w.life == life and w.end_sure > asked]
        for watch in going:
            watch.end_asked = min(watch.end_asked, asked)
        yield  # an exception: perhaps it was not carried out
        if self.rig.boot == life:
            for watch in going:
                watch.end_sure = self.time

    def _may_end_watches(self) -> None:
        """From now on a watch may have ended without anybody being told at once."""
        for watch in self.heard.watches:
            if watch.life == self.rig.boot:
                watch.end_asked = min(watch.end_asked, self.time)

    def _abort(self) -> None:
        assert self.host is not None
        with self._ending_watches():
            self.host.abort()
        assert not self.rig.on, "outputs are on after an abort"

    # -- shots ---------------------------------------------------------------------------------------------------
    def _plan(self, kind: str) -> Plan:
        return self.told.add(Plan(next(self.numbers), kind))

    def _arm(self, plan: Plan) -> bool:
        """Whether the host got a ticket for that table."""
        assert self.host is not None
        with self._trying():
            self.ticket = (self.host.arm(plan.sequence), plan.table)
            return True
        return False

    def _plan_drop(self, after_ms: int, signal: int = BEAM1) -> None:
        self.rig.plan(self.now + after_ms * MS + 7, signal, 1)
        self.rig.plan(self.now + (after_ms + 3) * MS + 7, signal, 0)

    def _release(self) -> bool:
        assert self.host is not None and self.ticket is not None
        return self._release_by(self.host, *self.ticket)

    def _release_by(self, host: Board, ticket: Ticket, table: int) -> bool:
        """Release an armed table, and record whether it ran, as far as the host knows."""
        key = (ticket.boot_id, ticket.release)
        life = self.rig.boot
        try:
            host.release(ticket)
        except ReleaseUnknown:
            self.told.note_unknown(key, table)
            totals["releases unknown"] += 1
        except (Refused, BoardRestarted, NotOpen):
            totals["releases refused"] += 1  # it has not run, says the host
        except NoAnswer:
            raise AssertionError(
                "a release without an answer is not known, and must be called that"
            ) from None
        except LinkError:
            if host.link.counters.requests:  # the port could not even be opened again
                assert not host.link.is_open
        else:
            self.told.note_done(key, table)
            totals["releases done"] += 1
            self.told.unseen[table] += self.rig.boot != life  # a reset within the first millisecond
            self.line.sleep(0.002)  # the shutter's edge
            self._note_boot(host.link)
            return True
        self._note_boot(host.link)
        return False

    def _shoot_well(self, kind: str, drop: bool) -> Outcome:
        """On a good line: the shot happens, and the host is told how."""
        host = self._make_all_well()
        plan = self._plan(kind)
        with self._must("arming a good table"):
            self.ticket = (host.arm(plan.sequence), plan.table)
            ticket = self.ticket[0]
            before = self.pins.count(plan.table)
            done = False
            while not done:
                if drop:
                    self._plan_drop(100)
                try:
                    host.link.request(
                        Message(
                            "release",
                            {
                                "boot_id": ticket.boot_id,
                                "release": ticket.release,
                                "digest": ticket.digest,
                            },
                        )
                    )
                    done = True
                except Refused as refusal:
                    assert refusal.reason in ("too_soon", "beam_blocked"), refusal
                    host.sleep(max(refusal.detail, 10) / 1000)
            self.told.note_done((ticket.boot_id, ticket.release), plan.table)
            host._last_release = max(host._last_release, ticket.release)
            totals["releases done"] += 1
            outcome = host.wait_for(ticket)
            self._listen_to_the_end()
        self.pins.look(self.time)
        assert self.pins.count(plan.table) == before + 1, "a released table did not run"
        missed = plan.waits and not drop
        state = outcome.done.state.name
        assert state == ("missed" if missed else "fired"), f"a good shot ended as {state}"
        assert outcome.done.digest == plan.digest
        if outcome.complete:
            told = [(edge.ticks, int(edge.signal), edge.level) for edge in outcome.edges]
            self.heard.judge_shot_edges(state, plan.table, told, [self.pins.shots[-1]])
        return outcome

    # -- raw requests ----------------------------------------------------------------------------------------------
    def _request(self, name: str, **fields: Any) -> Message:
        assert self.host is not None
        return self.host.link.request(Message(name, fields))

    def _serve(self, name: str, output: int, ticks: int, **fields: Any) -> bool:
        """Run a service action, recognised later by its width; return whether the host was told that it was
        done."""
        self.told.services[output, ticks] = False
        try:
            self._request(name, output=output, **fields)
        except BoardRestarted as error:
            if not error.perhaps_done:
                del self.told.services[output, ticks]
        except (Refused, NotOpen):
            del self.told.services[output, ticks]
            raise
        else:
            self.told.services[output, ticks] = True
            return True
        return False

    # -- the end -----------------------------------------------------------------------------------------------------
    def teardown(self) -> None:
        if not hasattr(self, "line"):
            return
        try:
            if sys.exc_info()[0] is None:  # else a rule has found something
                self._finish()
        finally:
            self.line.inner.close()
            totals["histories"] += 1
            totals["lives of a board"] += self.rig.boot
            totals["shots at the pins"] += len(self.pins.shots)
            totals.update(self.heard.counts)

    def _finish(self) -> None:
        """The line is good again: a last host receives everything that the board still has to report, and shoots."""
        self.line.heal()
        self.line.sleep(RINSE_MAX_MS / 1000 + 0.5)  # nothing of these histories is on for longer
        assert not self.rig.on, "an output stayed on"
        self.pins.look(self.time)
        self._new_host()
        self._shoot_well("short", False)
        assert self.host is not None
        with self._must("asking"):
            kept = self.host.status().reports_kept
        assert not kept, f"{kept} reports are kept though all were acknowledged"
        self.pins.look(self.time)
        self.pins.check_that_all_ran()
        self.heard.finish(self.host.info.boot_id)

"""The host library and the firmware with the worst of lines between them, judged at the pins.

A rule-based state machine: hypothesis draws what the host asks for and what happens to the frames on the way. What
must hold whatever happens:

1. a table that did not arrive whole never runs: what the pins do is always the begin of a table sent whole;
2. a release happens once or not at all. The host knows which, or says ReleaseUnknown: nothing else is let pass;
3. reports reach the host in order; a number that never comes is in a `forgotten` or lost with a life of the board;
   the edges of a shot are those of the pins;
4. the outputs are off after abort, reset, fault and the loss of the host;
5. no output is on for longer than its limit, no flash fires and no valve opens again too soon.

`test_the_machine_can_fail` breaks the code in the ways listed in MUTATIONS; the machine must find each. The rest of an
output between two shots is out of its reach (its tables begin too slowly): test_limits.py has that.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)
from line import FRAME_FAULTS, HZ, MS, BadLine, TruthRig

from beamfall.board import Board, Ticket
from beamfall.errors import (
    BoardRestarted,
    LinkError,
    NoAnswer,
    NotOpen,
    Refused,
    ReleaseUnknown,
)
from beamfall.link import Link, LinkTiming, Report
from beamfall.link.delivery import ReportOrder, Verdict
from beamfall.link.firmware_modules import load_firmware
from beamfall.link.simulated import SimulatedTransport
from beamfall.sequence import Row, Sequence
from beamfall.wire import Message, get_codec, make_table_messages

CODEC = get_codec()
TIMING = LinkTiming(
    first_s=0.05, growth=2.0, longest_s=0.4, tries=5, hello_tries=8, reconnect_s=1.0
)
VALVE1, VALVE2, VALVE3, FLASH1, CAMERA2, BEAM1 = 1, 2, 3, 4, 8, 9
# Limits of firmware/boards/simulated.py, in ticks.
LONGEST = {
    VALVE1: 200 * MS,
    VALVE2: 200 * MS,
    VALVE3: 200 * MS,
    FLASH1: 20 * MS,
    CAMERA2: 8000 * MS,
}
VALVE_GAP, FLASH_GAP = 1 * MS, 20 * MS
STORE_BYTES = 900  # instead of 8192: reports are forgotten in these tests, too
FIRST = (
    1 * MS
)  # every table begins with the shutter so long after the release, so that the zero is seen

# Each table is told from all others by its times: `table` times 100 ticks are in them.
Plan = list[tuple[int, int, int, int, int]]  # anchor, count, output, delay, width


def plan_rows(table: int, long_shutter: bool, beam: bool) -> Plan:
    mark = table * 100
    rows: Plan = [
        (0, 0, CAMERA2, FIRST, (2500 * MS if long_shutter else 60 * MS) + mark),
        (0, 0, VALVE1, 5 * MS + mark, 10 * MS + mark),
        (0, 0, VALVE2, 22 * MS + mark, 8 * MS),
        (0, 0, VALVE1, 30 * MS + mark, 12 * MS + mark),
    ]
    flash = (40 * MS + mark, 1 * MS)
    rows.append((1, 1, FLASH1, *flash) if beam else (0, 0, FLASH1, *flash))
    return rows


def make_sequence(rows: Plan) -> Sequence:
    names = {VALVE1: "valve1", VALVE2: "valve2", FLASH1: "flash1", CAMERA2: "camera2"}
    waits = any(row[0] for row in rows)
    return Sequence(
        rows=tuple(
            Row("beam1" if anchor else "release", count, names[output], delay / HZ, width / HZ)
            for anchor, count, output, delay, width in rows
        ),
        window_s=0.3 if waits else 0.0,
        tail_s=0.01,
    )


mild = st.sampled_from(
    [fault for fault in FRAME_FAULTS if not fault.startswith(("reset", "unplug"))]
)
faults = st.lists(
    st.tuples(st.one_of(mild, mild, st.sampled_from(FRAME_FAULTS)), st.integers(0, 1000)),
    min_size=1,
    max_size=6,
)


class Torture(RuleBasedStateMachine):
    def __init__(self) -> None:
        super().__init__()
        self.rig = TruthRig()
        self.line = BadLine(SimulatedTransport(self.rig, seed=1))
        self.sessions = itertools.count(100)
        self.tables = itertools.count(1)
        self.plans: dict[int, Plan] = {}
        self.done: dict[int, int] = {}  # by table: releases that the host knows to have run
        self.unknown: dict[int, int] = {}  # by table: releases of which it says that it cannot know
        self.drips: dict[int, tuple[int, int]] = {}  # by width: least and most
        self.boots: dict[int, int] = {}  # boot id -> the rig's count of lives
        self.reports: dict[int, dict[int, Message]] = {}  # boot id -> number -> report
        self.bridged: dict[
            int, list[tuple[int, int]]
        ] = {}  # boot id -> ranges said to be forgotten
        self.ticket: tuple[Ticket, int] | None = None
        self.unseen = 0  # shots whose board was reset before the pins had moved
        self.tickets: dict[tuple[int, int], str] = {}  # boot id, release -> done or unknown
        self.host: Board | None = None
        self._new_host()

    # -- the host --------------------------------------------------------------------------------------------------
    def _new_host(self) -> None:
        """The old host is dead; another one comes, and keeps coming until it gets through."""
        self.ticket = None
        self.host = None
        link = Link(
            self.line,
            timing=TIMING,
            reconnect=self.line.open,
            acknowledge_on_receipt=False,
            draw_session=lambda: next(self.sessions),
        )
        pump = link.pump
        last: dict[int, int] = {}

        def watched(timeout_s: float) -> list[Report]:
            got = pump(timeout_s)
            for report in got:
                self._keep(report, last)
            return got

        link.pump = watched  # type: ignore[method-assign]
        try:
            link.reopen()
            self.host = Board(link)
            self._note_boot()
        except LinkError:
            pass  # the line is that bad: no host for now

    def _note_boot(self) -> None:
        assert self.host is not None
        welcome = self.host.link.welcome
        assert welcome is not None
        # Which life that is: the rig counts them, the boot id tells them apart.
        self.boots.setdefault(welcome.boot_id, self.rig.boot)

    def _keep(self, report: Report, last: dict[int, int]) -> None:
        boot, number = report.boot_id, report.number
        kept = self.reports.setdefault(boot, {})
        before = last.get(boot)
        last[boot] = number
        if report.name == "forgotten":
            self.bridged.setdefault(boot, []).append((report["first"], number))
            assert before is None or report["first"] <= before + 1 <= number
            return
        if report.name == "trouble" and "went to another program" in report["text"]:
            return  # they are in `kept` from that other host, or the final count finds them missing
        assert before is None or number == before + 1, f"report {number} came after {before}"
        assert kept.setdefault(number, report.message) == report.message

    @contextmanager
    def _trying(self) -> Iterator[None]:
        """Whatever the library says of a bad line is allowed; what it must not say is judged where it matters."""
        with suppress(LinkError, BoardRestarted, Refused, ReleaseUnknown):
            yield
        if self.host is not None:
            self._note_boot_if_new()

    def _note_boot_if_new(self) -> None:
        assert self.host is not None
        if self.host.link.welcome is not None and self.host.link.is_open:
            self._note_boot()

    # -- what happens on the line --------------------------------------------------------------------------------------
    @rule(faults=faults)
    def spoil_to_board(self, faults: list[tuple[str, int]]) -> None:
        self.line.to_board.extend(faults)

    @rule(faults=faults)
    def spoil_to_host(self, faults: list[tuple[str, int]]) -> None:
        self.line.to_host.extend(faults)

    @rule()
    def better_times(self) -> None:
        self.line.heal()

    @rule()
    def reset(self) -> None:
        self.line.reset()
        assert not self.rig.on

    @rule(absent=st.integers(0, 8))
    def unplug(self, absent: int) -> None:
        self.line.unplug(absent)

    @rule(most=st.sampled_from([1, 3, 64, 300]), board=st.sampled_from([0, 1, 17, 64]))
    def go_slowly(self, most: int, board: int) -> None:
        self.line.most = most
        self.line.write_slowly(board)

    @rule()
    def kill_host(self) -> None:
        self._new_host()

    # -- what the host does ------------------------------------------------------------------------------------------
    @precondition(lambda self: self.host is not None)
    @rule(
        long_shutter=st.booleans(),
        beam=st.booleans(),
        drop_ms=st.integers(0, 350),
        wait=st.booleans(),
        to_board=st.one_of(st.just([]), faults),
        to_host=st.one_of(st.just([]), faults),
    )
    def shoot_while_the_line_breaks(
        self,
        long_shutter: bool,
        beam: bool,
        drop_ms: int,
        wait: bool,
        to_board: list[tuple[str, int]],
        to_host: list[tuple[str, int]],
    ) -> None:
        """The upload on a good line, the release on a bad one."""
        self.line.heal()
        self.line.inner.sleep(0.03)
        assert self.host is not None
        self._shoot(long_shutter, beam, drop_ms, wait, to_board, to_host)

    @precondition(lambda self: self.host is not None)
    @rule(
        long_shutter=st.booleans(),
        beam=st.booleans(),
        drop_ms=st.integers(0, 350),
        wait=st.booleans(),
    )
    def shoot(self, long_shutter: bool, beam: bool, drop_ms: int, wait: bool) -> None:
        self._shoot(long_shutter, beam, drop_ms, wait)

    def _shoot(
        self,
        long_shutter: bool,
        beam: bool,
        drop_ms: int,
        wait: bool,
        to_board: list[tuple[str, int]] | None = None,
        to_host: list[tuple[str, int]] | None = None,
    ) -> None:
        assert self.host is not None
        table = next(self.tables)
        self.plans[table] = plan_rows(table, long_shutter, beam)
        try:
            with self._trying():
                ticket = self.host.arm(make_sequence(self.plans[table]))
                self.ticket = (ticket, table)
        finally:
            armed = self.ticket is not None and self.ticket[1] == table
        if not armed:
            return
        self.line.to_board.extend(to_board or [])
        self.line.to_host.extend(to_host or [])
        now = self.line.inner._channel.now
        self.rig.plan(now + drop_ms * MS + 7, BEAM1, 1)
        self.rig.plan(now + (drop_ms + 3) * MS + 7, BEAM1, 0)
        if self._release() and wait:
            with self._trying():
                self.host.wait_for(self.ticket[0])  # type: ignore[index]

    def _release(self) -> bool:
        """Release the armed table; whether it ran is written down as the host has it."""
        assert self.host is not None and self.ticket is not None
        ticket, table = self.ticket
        key = (ticket.boot_id, ticket.release)
        life = self.rig.boot
        try:
            self.host.release(ticket)
        except ReleaseUnknown:
            if key not in self.tickets:
                self.unknown[table] = self.unknown.get(table, 0) + 1
                self.tickets[key] = "unknown"
        except (Refused, BoardRestarted, NotOpen):
            pass  # it has not run, says the host
        except NoAnswer:
            raise AssertionError(
                "a release without an answer is not known, and must be called that"
            ) from None
        except LinkError:
            if self.host.link.counters.requests:  # the port could not even be opened again
                assert not self.host.link.is_open
        else:
            before = self.tickets.get(key)
            assert before != "done", "a ticket was taken twice"
            if before == "unknown":
                self.unknown[table] -= 1  # now it is known
            self.tickets[key] = "done"
            self.done[table] = self.done.get(table, 0) + 1
            self.unseen += self.rig.boot != life  # a reset before the first millisecond was over
            self.line.inner.sleep(0.002)  # the shutter's edge
            self._note_boot_if_new()
            return True
        self._note_boot_if_new()
        return False

    @precondition(lambda self: self.host is not None and self.ticket is not None)
    @rule(next_number=st.booleans())
    def release_again(self, next_number: bool) -> None:
        """The same ticket, or the same table under the next number."""
        assert self.ticket is not None
        ticket, table = self.ticket
        if next_number:
            self.ticket = (Ticket(ticket.boot_id, ticket.release + 1, ticket.digest), table)
        self._release()

    @precondition(lambda self: self.host is not None)
    @rule(parts=st.integers(0, 5), commit=st.booleans(), then_release=st.booleans())
    def upload_in_part(self, parts: int, commit: bool, then_release: bool) -> None:
        """A table of which some rows are missing, and a release of it."""
        assert self.host is not None
        rows = plan_rows(next(self.tables), False, False)
        head, records = self._raw_table(rows)
        self.host._ready = None
        with self._trying():
            self.host.link.request(head)
            for index in range(min(parts, len(records) - 1)):
                self.host.link.request(
                    Message("table_rows", {"first": index, "rows": [records[index]]})
                )
            if commit:
                self.host.link.request(Message("table_commit", {}))
        if then_release:
            with self._trying():
                self.host.link.request(
                    Message(
                        "release",
                        {
                            "boot_id": self.host.info.boot_id,
                            "release": self.host._last_release + 1,
                            "digest": head["digest"],
                        },
                    )
                )
            self.line.inner.sleep(0.002)

    @precondition(lambda self: self.host is not None)
    @rule(which=st.integers(0, 3))
    def upload_beyond_limits(self, which: int) -> None:
        """A table that the host's own check would not let pass, and a release of it."""
        assert self.host is not None
        rows = plan_rows(0, False, False)
        rows[which] = (*rows[which][:4], LONGEST[rows[which][2]] + 1)
        head, records = self._raw_table(rows)
        self.host._ready = None
        with self._trying():
            self.host.link.request(head)
            self.host.link.request(Message("table_rows", {"first": 0, "rows": records}))
            self.host.link.request(Message("table_commit", {}))
        with self._trying():
            self.host.link.request(
                Message(
                    "release",
                    {
                        "boot_id": self.host.info.boot_id,
                        "release": self.host._last_release + 1,
                        "digest": head["digest"],
                    },
                )
            )
            self.line.inner.sleep(1.0)

    def _raw_table(self, rows: Plan) -> tuple[Message, list[tuple[int, ...]]]:
        records = [
            (a, c, o, 0, d, w) for a, c, o, d, w in sorted(rows, key=lambda r: (r[0], r[1], r[3]))
        ]
        fields = {
            "window_ticks": 0, "tail_ticks": 10 * MS, "blanking_ticks": 0, "dwell_ticks": 0,
            "beam1_edge": 1, "beam2_edge": 1, "await1": 0, "await2": 0,
        }  # fmt: skip
        return make_table_messages(CODEC, fields, records).requests[0], records

    @precondition(lambda self: self.host is not None)
    @rule()
    def abort(self) -> None:
        assert self.host is not None
        with self._trying():
            self.host.abort()
            assert not self.rig.on, "outputs are on after an abort"

    @precondition(lambda self: self.host is not None)
    @rule(milliseconds=st.integers(1, 40))
    def drip(self, milliseconds: int) -> None:
        """One drop of valve 3, told from others by its width."""
        assert self.host is not None
        width = milliseconds * MS + next(self.tables)
        least, most = 0, 0
        try:
            self.host.link.request(Message("drip", {"output": VALVE3, "width_ticks": width}))
            least, most = 1, 1
        except BoardRestarted as error:
            most = int("in the old one cannot be known" in str(error))
        except (Refused, NotOpen):
            pass
        except LinkError:
            most = 1  # 'it may or may not have been done'
        self.drips[width] = (least, most)
        self.line.inner.sleep(0.05)
        self._note_boot_if_new()

    @precondition(lambda self: self.host is not None)
    @rule(drips=st.integers(5, 15))
    def nobody_listens(self, drips: int) -> None:
        """More reports than the board has room for."""
        for _ in range(drips):
            self.drip(1)
            self.line.inner.sleep(1.3)

    @precondition(lambda self: self.host is not None)
    @rule(seconds=st.sampled_from([0.0, 0.01, 0.3, 2.0]), settle=st.booleans())
    def listen(self, seconds: float, settle: bool) -> None:
        assert self.host is not None
        with self._trying():
            self.host.pump(seconds)
            if settle:
                self.host.settle()

    @precondition(lambda self: self.host is not None)
    @rule()
    def ask_how_things_stand(self) -> None:
        assert self.host is not None
        with self._trying():
            self.host.status()

    @rule(seconds=st.sampled_from([0.005, 0.02, 0.1, 3.0]))
    def time_passes(self, seconds: float) -> None:
        self.line.inner.sleep(seconds)

    @precondition(lambda self: self.host is not None)
    @rule(timeout_s=st.sampled_from([0.2, 0.6]))
    def host_falls_silent(self, timeout_s: float) -> None:
        """It has asked to be missed; then it is not heard for long."""
        assert self.host is not None
        with self._trying():
            self.host.set_host_timeout(timeout_s)
            boot = self.rig.boot
            self.line.inner.sleep(timeout_s + 1.1)  # the board looks at least once a second
            assert self.rig.boot == boot
            assert not self.rig.on, "outputs are on though the host is lost"
        with self._trying():
            self.host.set_host_timeout(0)

    @rule(
        where=st.sampled_from(["poll", "next_edge", "now_ticks", "rows_done"]),
        calls=st.integers(1, 4),
    )
    def firmware_raises(self, where: str, calls: int) -> None:
        """An exception out of the hardware's calls; only the first `calls` of them raise."""
        port = self.line.inner._port
        left = [calls]

        def bomb(*_: object) -> Any:
            port.__dict__.pop(where, None)
            left[0] -= 1
            if left[0] > 0:
                setattr(port, where, bomb)
            raise OSError("the hardware does not answer")

        setattr(port, where, bomb)
        self.line.inner.sleep(0.001)
        if self.line.inner._board.controller.cause == 10:  # internal
            assert not self.rig.on, "outputs are on in a fault"
        port.__dict__.pop(where, None)

    # -- judging at the pins -------------------------------------------------------------------------------------------
    @invariant()
    def outputs_keep_their_limits(self) -> None:
        now = self.line.inner._channel.now + self.rig.base
        for signal, since in self.rig.on.items():
            assert now - since <= LONGEST[signal]
        last: dict[tuple[int, int], tuple[int, int]] = {}
        for boot, signal, on, off in self.rig.pulses:
            assert off - on <= LONGEST[signal]
            before = last.get((boot, signal))
            if before is not None and signal in (VALVE1, VALVE2, VALVE3):
                assert on - before[1] >= VALVE_GAP, (
                    f"valve {signal} opened again after {on - before[1]} ticks"
                )
            if before is not None and signal == FLASH1:
                assert on - before[0] >= FLASH_GAP, (
                    f"the flash fired again after {on - before[0]} ticks"
                )
            last[boot, signal] = (on, off)

    def _shots(self) -> list[tuple[int, int, list[tuple[int, int, int]]]]:
        """(boot, zero, output pulses as (signal, delay, width)) of every shot that the pins have seen."""
        shots: list[tuple[int, int, list[tuple[int, int, int]]]] = []
        open_pulses = [(self.rig.boot, signal, on, -1) for signal, on in self.rig.on.items()]
        for boot, signal, on, off in sorted(
            self.rig.pulses + open_pulses, key=lambda pulse: pulse[2]
        ):
            if signal == CAMERA2:
                shots.append((boot, on - FIRST, []))
            if signal != VALVE3:
                assert shots, "an output moved with no shot"
                zero = shots[-1][1]
                shots[-1][2].append((signal, on - zero, off - on if off >= 0 else -1))
        return shots

    def _table_of(self, pulses: list[tuple[int, int, int]], boot: int, zero: int) -> int:
        """Which table it is that ran; that it is one sent whole, and runs as written as far as it runs."""
        fitting = []
        for table, rows in self.plans.items():
            waits = any(row[0] for row in rows)
            edges = [
                ticks - zero
                for life, ticks, signal, level in self.rig.changes
                if waits and (life, signal, level) == (boot, BEAM1, 1) and ticks >= zero
            ]
            written = set()
            for anchor, _, output, delay, width in rows:
                if not anchor:
                    written.add((output, delay, width))
                elif edges:
                    written.add((output, edges[0] + delay, width))
            if all(
                any(s == o and d == e and (w == -1 or w <= x) for o, e, x in written)
                for s, d, w in pulses
            ):
                fitting.append(table)
        if len(pulses) > 1:
            assert len(fitting) == 1, f"what ran is no table that was sent whole: {pulses}"
        assert fitting, f"what ran is no table that was sent whole: {pulses}"
        # With one pulse only, its width tells, unless it was cut; then any will do.
        return fitting[0] if len(fitting) == 1 else 0

    def _count(self, table: int) -> int:
        return sum(
            self._table_of(pulses, boot, zero) == table for boot, zero, pulses in self._shots()
        )

    @invariant()
    def only_whole_tables_run_and_no_more_often_than_released(self) -> None:
        ran: dict[int, int] = {}
        for boot, zero, pulses in self._shots():
            table = self._table_of(pulses, boot, zero)
            ran[table] = ran.get(table, 0) + 1
        unclear = ran.pop(0, 0)
        for table, times in ran.items():
            most = self.done.get(table, 0) + self.unknown.get(table, 0)
            assert times <= most, f"table {table} ran {times} times; the host knows of {most}"
        total = sum(self.done.values()) + sum(self.unknown.values())
        assert unclear + sum(ran.values()) <= total
        assert unclear + sum(ran.values()) >= sum(self.done.values()) - self.unseen, (
            "a shot that the host knows of did not run"
        )

    def _drips_are_right(self) -> None:
        seen: dict[int, int] = {}
        cut = 0
        for _, signal, on, off in self.rig.pulses:
            if signal == VALVE3:
                if off - on in self.drips:
                    seen[off - on] = seen.get(off - on, 0) + 1
                else:
                    cut += 1  # by an abort, a reset or a fault
        for width, (_, most) in self.drips.items():
            assert seen.get(width, 0) <= most, (
                f"a drip happened {seen.get(width)} times, at most {most} were asked for"
            )
        assert sum(seen.values()) + cut <= sum(most for _, most in self.drips.values())

    def teardown(self) -> None:
        try:
            self._finish()
        finally:
            self.line.inner.close()

    def _finish(self) -> None:
        """In better times, a last host hears all that the board still has to say."""
        self.line.heal()
        self.line.inner.sleep(3.0)
        assert not self.rig.on, "an output stayed on"
        self._new_host()
        assert self.host is not None, "no host gets through to the board on a good line"
        while self.host.pump(0.6):
            self.host.settle()
        self._drips_are_right()
        assert self.host.status().reports_kept == 0
        for boot, kept in self.reports.items():
            missing = set(range(1, max(kept, default=0) + 1)) - set(kept)
            for first, number in self.bridged.get(boot, []):
                missing -= set(range(first, number + 1))
            assert not missing, f"reports {sorted(missing)} never came and nobody said so"
            self._edges_are_those_of_the_pins(boot, kept)

    def _edges_are_those_of_the_pins(self, boot: int, kept: dict[int, Message]) -> None:
        edges: dict[int, list[tuple[int, int, int]]] = {}
        shots = [shot for shot in self._shots() if shot[0] == self.boots.get(boot)]
        for _, message in sorted(kept.items()):
            fields = message.fields
            if message.name == "edges" and fields["activity"].name == "shot":
                edges.setdefault(fields["release"], []).extend(
                    (edge.ticks, int(edge.signal), edge.mark & 1) for edge in fields["edges"]
                )
            if message.name != "shot_done" or fields["activity"].name != "shot":
                continue
            told = edges.get(fields["release"], [])
            assert told == sorted(told, key=lambda edge: edge[0]), "edges out of order"
            if fields["edges"] != len(told):
                assert self.bridged.get(boot), "edges are missing and nobody said so"
                continue
            if not told or CAMERA2 not in [signal for _, signal, _ in told]:
                continue  # stopped before the shutter: the pins did not show its zero
            first = next(ticks for ticks, signal, level in told if signal == CAMERA2)
            assert first == FIRST
            for _, zero, pulses in shots:
                seen = [
                    (ticks - zero, signal, level)
                    for life, ticks, signal, level in self.rig.changes
                    if life == self.boots[boot] and ticks >= zero and signal != VALVE3
                ]
                if seen[: len(told)] == sorted(told, key=lambda edge: edge[0]) and pulses:
                    break
            else:
                raise AssertionError(
                    f"shot {fields['release']}: no shot at the pins has the edges {told}"
                )


@pytest.fixture(autouse=True)
def small_store() -> Iterator[None]:
    board = load_firmware().board
    names = board.__init__.__globals__
    before = names["STORE_BYTES"]
    names["STORE_BYTES"] = STORE_BYTES
    yield
    names["STORE_BYTES"] = before


# No shrinking here: it takes minutes. To have a find shrunk, add Phase.shrink.
RUNS = settings(
    max_examples=120,
    phases=[Phase.reuse, Phase.generate],
    stateful_step_count=30,
    deadline=None,
    suppress_health_check=list(HealthCheck),
)


def test_the_promises_hold_whatever_happens_to_the_line() -> None:
    run_state_machine_as_test(Torture, settings=RUNS)


# -- the machine can fail ----------------------------------------------------------------------------------------------
def _firmware(name: str) -> Any:
    """A class of the firmware that the simulated board runs."""
    names = load_firmware().board.__init__.__globals__
    if name in names:
        return names[name]
    return (
        names["Requests"].__init__.__globals__.get(name)
        or names["Controller"].__init__.__globals__[name]
    )


def _forget_numbers(patch: pytest.MonkeyPatch) -> None:
    link = _firmware("Link")
    original = link._request

    def request(self: Any, reader: Any) -> None:
        if reader.number == self._number:
            self._number -= 1
        original(self, reader)

    patch.setattr(link, "_request", request)


def _forget_release_numbers(patch: pytest.MonkeyPatch) -> None:
    _forget_numbers(patch)
    controller = _firmware("Controller")
    original = controller.release

    def release(self: Any, number: int) -> int:
        reason: int = original(self, number)
        self.last_release = 0
        return reason

    patch.setattr(controller, "release", release)


def _run_half_a_table(patch: pytest.MonkeyPatch) -> None:
    table = _firmware("Table")
    patch.setattr(table, "first_missing", lambda self: -1)
    patch.setattr(table, "digest_fits", lambda self: True)


def _keep_outputs_in_an_abort(patch: pytest.MonkeyPatch) -> None:
    def abort(self: Any) -> None:
        self.activity = 0
        self.state = 0

    patch.setattr(_firmware("Controller"), "abort", abort)


def _trust_widths(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(_firmware("Limits"), "longest", lambda self, output: 1 << 30)


def _never_miss_the_host(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(_firmware("Controller"), "check_host", lambda self, silent_ms: None)


def _keep_outputs_in_a_fault(patch: pytest.MonkeyPatch) -> None:
    def trouble(self: Any, error: Exception) -> None:
        self.controller.state, self.controller.cause = 4, 10

    patch.setattr(load_firmware().board, "_trouble", trouble)


def _drop_reports_in_silence(patch: pytest.MonkeyPatch) -> None:
    store = _firmware("ReportStore")
    original = store._forget_oldest

    def forget(self: Any) -> None:
        original(self)
        self.gap_first = 0

    patch.setattr(store, "_forget_oldest", forget)


def _deliver_what_is_ahead(patch: pytest.MonkeyPatch) -> None:
    original = ReportOrder.take

    def take(self: ReportOrder, number: int, forgotten_from: int | None) -> Verdict:
        verdict = original(self, number, forgotten_from)
        if verdict is Verdict.AHEAD:
            self.expected = number + 1
            return Verdict.DELIVER
        return verdict

    patch.setattr(ReportOrder, "take", take)


def _guess_the_count_of_reports(patch: pytest.MonkeyPatch) -> None:
    """The fault that was: a host new to the board began with the first report that reached it."""
    original = ReportOrder.begin

    def begin(self: ReportOrder, boot_id: int, oldest_report: int) -> bool:
        known = self.boot_id
        restarted = original(self, boot_id, oldest_report)
        if boot_id != known:
            self.expected = None
        return restarted

    patch.setattr(ReportOrder, "begin", begin)


def _repeat_a_release_that_ran(patch: pytest.MonkeyPatch) -> None:
    original = Link.settle_release

    def settle(self: Link, boot_id: int, release: int) -> bool:
        original(self, boot_id, release)
        return False

    patch.setattr(Link, "settle_release", settle)


def _call_an_unknown_release_refused(patch: pytest.MonkeyPatch) -> None:
    original = Board.release

    def release(self: Board, ticket: Ticket) -> None:
        try:
            original(self, ticket)
        except ReleaseUnknown as error:
            raise BoardRestarted("it was not carried out") from error

    patch.setattr(Board, "release", release)


def _leave_a_lost_release_to_guessing(patch: pytest.MonkeyPatch) -> None:
    """The fault that was: no answer in eight tries was the end of it."""

    def recover(self: Link, message: Message, perhaps_done: bool) -> Message:
        raise NoAnswer("no answer")

    patch.setattr(Link, "_recover", recover)


def _lose_an_edge(patch: pytest.MonkeyPatch) -> None:
    buffer = _firmware("Controller").__init__.__globals__["EdgeBuffer"]
    original = buffer.add

    def add(self: Any, signal: int, mark: int, ticks: int) -> None:
        if not (signal == VALVE2 and mark & 1):
            original(self, signal, mark, ticks)

    patch.setattr(buffer, "add", add)


MUTATIONS: dict[str, Callable[[pytest.MonkeyPatch], None]] = {
    "the board carries repeats of a request out again": _forget_numbers,
    "the board forgets the numbers of releases, too": _forget_release_numbers,
    "the board takes a table with rows missing": _run_half_a_table,
    "an abort leaves the outputs as they are": _keep_outputs_in_an_abort,
    "the board does not look at widths": _trust_widths,
    "the board never misses its host": _never_miss_the_host,
    "an exception leaves the outputs as they are": _keep_outputs_in_a_fault,
    "the board drops reports in silence": _drop_reports_in_silence,
    "the host takes reports that are ahead": _deliver_what_is_ahead,
    "a new host begins with whatever report comes first": _guess_the_count_of_reports,
    "the host takes a settled release for one that has not run": _repeat_a_release_that_ran,
    "the host calls an unknown release one that has not run": _call_an_unknown_release_refused,
    "the host leaves a release without an answer open": _leave_a_lost_release_to_guessing,
    "the board leaves an edge out": _lose_an_edge,
}


@pytest.mark.parametrize("mutation", MUTATIONS)
def test_the_machine_can_fail(mutation: str, monkeypatch: pytest.MonkeyPatch) -> None:
    MUTATIONS[mutation](monkeypatch)
    tries = settings(
        RUNS,
        max_examples=4000,
        database=None,
        derandomize=True,
        report_multiple_bugs=False,
        phases=[Phase.generate],
    )
    with pytest.raises(Exception) as caught:  # noqa: B017 - an assertion, here or in the rig
        run_state_machine_as_test(Torture, settings=tries)
    assert not isinstance(caught.value, (TypeError, AttributeError, NameError)), caught.value

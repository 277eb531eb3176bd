"""What may happen: to the line, to the board, and what the host asks for."""

from __future__ import annotations

from typing import Any

from hypothesis import strategies as st
from hypothesis.stateful import precondition, rule
from machine_host import TIMING, Faults, HostMachine, breaks, faults, kinds, perhaps_faults
from machine_slots import SlotRules
from machine_tables import LONGEST, MS, VALVE3, Plan, make_raw
from machine_watch import WatchRules

from beamfall.board import Board, Ticket
from beamfall.errors import LinkError

with_host = precondition(lambda self: self.host is not None)
with_ticket = precondition(lambda self: self.host is not None and self.ticket is not None)


class LineRules(HostMachine):
    """What happens on the line, and at its two ends."""

    @rule(faults=faults)
    def spoil_to_board(self, faults: Faults) -> None:
        self.line.to_board.extend(faults)

    @rule(faults=faults)
    def spoil_to_host(self, faults: Faults) -> None:
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

    @with_host
    @rule(kind=kinds, release=st.booleans(), between=st.booleans())
    def another_program_has_its_turn(self, kind: str, release: bool, between: bool) -> None:
        """Another host leaves another table, and perhaps a used number; the earlier host goes on as if nothing had
        happened. `between`: it comes between that host's arming and its release, of which nothing reaches the board."""
        self.line.heal()
        armed = between and self._arm(self._plan("short"))
        with self._trying():
            link = self._make_link()
            link.open()
            other = Board(link)
            self._note_boot(link)
            plan = self._plan(kind)
            ticket = other.arm(plan.sequence)
            if release and self._release_by(other, ticket, plan.table):
                other.wait_for(ticket)
                other.settle()
                self.line.sleep(0.01)
        if armed:
            self._spoil([("lose", 0)] * TIMING.tries, [])
            self._release()

    @rule(seconds=st.sampled_from([0.005, 0.02, 0.1, 3.0]))
    def time_passes(self, seconds: float) -> None:
        self.line.sleep(seconds)

    @rule(
        where=st.sampled_from(["poll", "next_edge", "now_ticks", "rows_done"]),
        calls=st.integers(1, 4),
        in_a_shot=st.booleans(),
    )
    def firmware_raises(self, where: str, calls: int, in_a_shot: bool) -> None:
        """A call to the hardware raises; only the first `calls` of them do."""
        if in_a_shot:
            self._make_all_well()
            if self._arm(self._plan("long")):
                self._release()
        port = self.line.inner._port
        left = [calls]

        def bomb(*_: object) -> Any:
            port.__dict__.pop(where, None)
            left[0] -= 1
            if left[0] > 0:
                setattr(port, where, bomb)
            raise OSError("the hardware does not answer")

        setattr(port, where, bomb)
        self._may_end_watches()
        try:
            self.line.sleep(0.001)
        except OSError as error:
            raise AssertionError("an exception got out of the main loop") from error
        if self.line.inner._board.controller.cause == 10:  # internal
            assert not self.rig.on, "outputs are on in a fault"
        port.__dict__.pop(where, None)


class ShotRules(HostMachine):
    @with_host
    @rule(
        kind=kinds,
        drop_ms=st.integers(0, 350),
        wait=st.booleans(),
        good=st.booleans(),
        to_board=perhaps_faults,
        to_host=perhaps_faults,
    )
    def shoot(
        self, kind: str, drop_ms: int, wait: bool, good: bool, to_board: Faults, to_host: Faults
    ) -> None:
        """`good`: upload on a good line, release on a bad one."""
        if good:
            self.line.heal()
            self.line.sleep(0.03)
        assert self.host is not None
        if not self._arm(self._plan(kind)):
            return
        assert self.ticket is not None
        if good:
            self._spoil(to_board, to_host)
        self._plan_drop(drop_ms)
        if self._release() and wait:
            with self._trying():
                self.host.wait_for(self.ticket[0])

    @rule(kind=kinds, how=breaks, to_board=st.booleans())
    def release_and_lose_the_answer(self, kind: str, how: Faults, to_board: bool) -> None:
        self._make_all_well()
        if self._arm(self._plan(kind)):
            self._spoil(how if to_board else [], [] if to_board else how)
            self._release()
            self.line.sleep(0.05)

    @rule(kind=kinds, drop=st.booleans())
    def shoot_on_a_good_line(self, kind: str, drop: bool) -> None:
        self._shoot_well(kind, drop)

    @with_ticket
    @rule(next_number=st.booleans())
    def release_again(self, next_number: bool) -> None:
        """Use the same ticket again, or the same table under the next number."""
        assert self.ticket is not None
        ticket, table = self.ticket
        if next_number:
            self.ticket = (Ticket(ticket.boot_id, ticket.release + 1, ticket.digest), table)
        self._release()

    @with_ticket
    @rule(kind=kinds)
    def release_another_table(self, kind: str) -> None:
        """The board has a table other than the one named."""
        assert self.ticket is not None
        old, table = self.ticket
        self._make_all_well()
        assert self.host is not None
        if self._arm(self._plan(kind)):
            new = self.ticket[0]
            self._release_by(self.host, Ticket(new.boot_id, new.release, old.digest), table)

    def _release_raw(self, digest: bytes) -> None:
        """Release what is not a ready table."""
        assert self.host is not None
        with self._trying():
            self._request(
                "release",
                boot_id=self.host.info.boot_id,
                release=self.host._last_release + 1,
                digest=digest,
            )

    @with_host
    @rule(
        parts=st.integers(0, 5),
        commit=st.booleans(),
        then_release=st.booleans(),
        good=st.booleans(),
    )
    def upload_in_part(self, parts: int, commit: bool, then_release: bool, good: bool) -> None:
        """Send a table with some rows missing, and release it."""
        assert self.host is not None
        if good:
            self._make_all_well()
            self._arm(self._plan("short"))  # what is missing of the next one may still be there
        head, records, digest = make_raw(Plan(next(self.numbers), "short").rows)
        self.host._ready = None
        with self._trying():
            self._request(head.name, **head.fields)
            for index in range(min(parts, len(records) - 1)):
                self._request("table_rows", first=index, rows=[records[index]])
            if commit:
                self._request("table_commit")
        if then_release:
            self._release_raw(digest)
            self.line.sleep(0.03)

    @with_host
    @rule(which=st.integers(0, 4), good=st.booleans())
    def upload_beyond_limits(self, which: int, good: bool) -> None:
        """Send a table that the host's own check would refuse, and release it."""
        assert self.host is not None
        if good:
            self._make_all_well()
        rows = list(Plan(next(self.numbers), "short").rows)
        rows[which] = (*rows[which][:4], LONGEST[rows[which][2]] + 1)
        if which == 1:
            del rows[2]  # the same valve's next opening
        head, records, digest = make_raw(tuple(rows))
        self.host._ready = None
        with self._trying():
            self._request(head.name, **head.fields)
            self._request("table_rows", first=0, rows=records)
            self._request("table_commit")
        self._release_raw(digest)
        self.line.sleep(1.0)

    @with_host
    @rule(milliseconds=st.integers(20, 150), good=st.booleans())
    def commit_during_a_drip(self, milliseconds: int, good: bool) -> None:
        """The table is complete, but the port plays another one."""
        assert self.host is not None
        if good:
            self._make_all_well()
        plan = self._plan("short")
        head, records, _ = make_raw(plan.rows)
        self.host._ready = None
        with self._trying():
            self._request(head.name, **head.fields)
            self._request("table_rows", first=0, rows=records)
            ticks = milliseconds * MS + next(self.numbers)
            self._serve("drip", VALVE3, ticks, width_ticks=ticks)
            self.line.sleep(0.01)
            self._request("table_commit")
        self.line.sleep(0.5)

    @with_host
    @rule()
    def abort(self) -> None:
        with self._trying():
            self._abort()

    @with_host
    @rule(kind=st.sampled_from(["long", "open"]), after_ms=st.sampled_from([3, 7, 100, 800]))
    def abort_a_shot(self, kind: str, after_ms: int) -> None:
        self.line.heal()
        if self._arm(self._plan(kind)) and self._release():
            self.line.sleep(after_ms / 1000)
            with self._trying():
                self._abort()

    @with_host
    @rule(seconds=st.sampled_from([0.0, 0.01, 0.3, 2.0]), settle=st.booleans())
    def listen(self, seconds: float, settle: bool) -> None:
        assert self.host is not None
        with self._trying():
            self.host.pump(seconds)
            if settle:
                self.host.settle()

    @with_host
    @rule()
    def ask_how_things_stand(self) -> None:
        assert self.host is not None
        with self._trying():
            self.host.status()

    @with_host
    @rule(back=st.booleans(), in_a_shot=st.booleans())
    def let_an_installer_in(self, back: bool, in_a_shot: bool) -> None:
        """The board does not answer on the wire then, nothing is on, and it comes back as after any reset."""
        assert self.host is not None
        if in_a_shot:
            self.line.heal()
            if self._arm(self._plan("long")):
                self._release()
        life = self.rig.boot
        with self._trying():
            self.host.enter_maintenance()
            for _ in range(40):  # what waits for a slow reader goes first
                self.line.sleep(0.05)
                if self.line.in_maintenance or self.rig.boot != life:
                    break
            assert self.line.in_maintenance or self.rig.boot != life, "the installer is not let in"
            assert not self.rig.on, "outputs are on in maintenance"
            if self.rig.boot == life:
                try:
                    self.host.status()
                except LinkError:
                    pass
                else:
                    raise AssertionError("a board in maintenance has answered")
        if self.line.in_maintenance and back:
            self.line.reset()


class Torture(LineRules, ShotRules, WatchRules, SlotRules):
    """The whole machine."""

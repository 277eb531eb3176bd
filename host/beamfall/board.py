"""A board, for programs: connect, upload, arm, release, shoot, abort, events.

    with Board.connect("sim?seed=7") as board:
        outcome = board.shoot(sequence)
        for edge in outcome.edges:
            print(edge.signal.name, edge.word, edge.ticks / board.info.clock_hz)

One thread: the board is driven only while you call it. An exception in the `with` block aborts: outputs go off.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Self

from beamfall.board_session import BoardSession
from beamfall.board_values import EdgeConstant, Slot, SlotList, Status, Ticket
from beamfall.errors import Refused, SequenceError, ShotError, UserError
from beamfall.events import Outcome
from beamfall.interrupts import check_stop
from beamfall.link import Link, LinkTiming, Transport
from beamfall.link.session import go_on
from beamfall.ports import open_transport
from beamfall.setup.limits import check_contact, check_opening, check_rinse
from beamfall.setup.signals import Signal, SignalKind
from beamfall.setup.table import Table

if TYPE_CHECKING:
    from beamfall.setup.rig import Rig
    from beamfall.setup.sequence import Sequence

__all__ = ["Board", "Slot", "SlotList", "Status", "Ticket"]

_FAR_HELLO_TRIES = 16  # half a minute: a URL may lead to an emulated board that starts 15 times slower than a real one


class Board(BoardSession):
    """A board over an open link. Make one with `connect`."""

    @classmethod
    def connect(
        cls,
        port: str | None = None,
        *,
        rig: Rig | None = None,
        seed: int = 0,
        timing: LinkTiming | None = None,
    ) -> Board:
        """Open a port and start a session.

        Without `port`, it finds the one board by its USB ids and its beacon. For a simulated port, `rig` is what is
        connected to its pins (the example rig if None), and `seed` sets its random numbers, unless the port's name
        has a seed.
        Raises PortNotFound, PortBusy, PortDenied, PortSyntaxError, NotABoard, ProtocolMismatch,
        DefinitionMismatch, InterpreterMissing, LinkLost.
        """
        if timing is None and port is not None and "://" in port:
            timing = LinkTiming(hello_tries=_FAR_HELLO_TRIES)
        transport, reconnect = open_transport(port, rig, seed)
        return cls.over(transport, timing=timing, reconnect=reconnect)

    @classmethod
    def over(
        cls,
        transport: Transport,
        *,
        timing: LinkTiming | None = None,
        reconnect: Callable[[], Transport] | None = None,
    ) -> Self:
        """Start a session over an open transport, which is closed if that fails; raises as `connect` does."""
        link = Link(transport, timing=timing, reconnect=reconnect, acknowledge_on_receipt=False)
        try:
            link.open()
            return cls(link)
        except BaseException:
            link.close()
            raise

    # -- shots -------------------------------------------------------------------------------------------------
    def upload(self, shot: Sequence | Table) -> bytes:
        """Upload a sequence, or the table made from it for this board.

        Returns the table's digest once the board has checked the whole table. Raises SequenceError for
        errors that this host finds, Refused for those that the board finds.
        """
        table = shot if isinstance(shot, Table) else shot.make_table(self.info)
        if table.clock_hz != self.info.clock_hz:
            raise SequenceError(
                f"the table is for a clock of {table.clock_hz} Hz, but this board's runs at {self.info.clock_hz} Hz: "
                "make the table for this board"
            )
        if self._ready == table.digest:
            return table.digest
        self._ready = None
        for request in table.requests:
            self._request(request.name, **request.fields)
        self._ready = table.digest
        return table.digest

    def arm(self, shot: Sequence | Table) -> Ticket:
        """Make sure that this shot is ready on the board; return the ticket that releases it once."""
        digest = self.upload(shot)
        self._keep_host_timeout()
        return Ticket(self._boot_id, self._last_release + 1, digest)

    def release(self, ticket: Ticket, *, between: Callable[[], None] = go_on) -> None:
        """Release an armed shot; it happens once, or this raises and it does not happen.

        Waits if the duty limit or a flash's rest requires it. `between` is called before the request is sent each
        time, and at least ten times a second during any wait; an exception from it ends the release, and the
        request is not sent again. Raises Refused (beam_blocked, wrong_boot, ...), and ReleaseUnknown if nobody
        can know whether it ran.
        """
        request = {"boot_id": ticket.boot_id, "release": ticket.release, "digest": ticket.digest}
        try:
            self._patiently("release", between, **request)
        except Refused as refusal:
            if refusal.reason == "release_used":
                self._last_release = max(self._last_release, refusal.detail)
            raise
        except BaseException:
            self._use_up(ticket)  # an abort may have come between the request and its answer
            raise
        self._use_up(ticket)

    def _use_up(self, ticket: Ticket) -> None:
        """Do not use a ticket's number again in this boot: the board may have used it."""
        if ticket.boot_id == self._boot_id:
            self._last_release = max(self._last_release, ticket.release)

    def shoot(
        self, sequence: Sequence, *, before_release: Callable[[Ticket], None] | None = None
    ) -> Outcome:
        """Upload if needed, arm, release, and wait for the outcome.

        `before_release` is called with the ticket when all is ready; use it to store the plan.
        The reports stay unacknowledged until `settle`, so that a crash in between loses nothing.
        """
        ticket = self.arm(sequence)
        if before_release is not None:
            before_release(ticket)
        self.release(ticket)
        return self.wait_for(ticket)

    def wait_for(self, ticket: Ticket, *, between: Callable[[], None] = go_on) -> Outcome:
        """Wait until a released shot has ended; raises ShotError if the board no longer knows it.

        `between` is called about ten times a second meanwhile; an exception from it ends the wait.
        """
        return self._wait("shot", ticket.release, ticket.boot_id, between)

    # -- service -----------------------------------------------------------------------------------------------
    def _serve(self, activity: str, **fields: object) -> Outcome:
        self.settle()
        self._keep_host_timeout()
        self._patiently(activity, **fields)
        return self._wait(activity, None, self._boot_id, check_stop)

    def drip(self, valve: int, opening_s: float) -> Outcome:
        """Release one drop and return what the board saw; `valve` counts from 1.

        Raises UserError for an opening that this board does not allow, as do `test_flash` and `rinse`.
        """
        check_opening(opening_s, self.info)
        return self._serve(
            "drip",
            output=self._signal(SignalKind.VALVE, valve),
            width_ticks=self.to_ticks(opening_s),
        )

    def test_flash(self, flash: int, contact_s: float) -> Outcome:
        """Fire a flash once and return what the board saw; `flash` counts from 1."""
        check_contact(contact_s, self.info)
        signal = self._signal(SignalKind.FLASH, flash)
        return self._serve("test_flash", output=signal, width_ticks=self.to_ticks(contact_s))

    def rinse(
        self, valve: int, duration_s: float, confirm: Callable[[float], bool]
    ) -> Outcome | None:
        """Hold a valve open to purge or rinse it if `confirm(duration_s)` agrees; return None if not."""
        check_rinse(duration_s, self.info)
        fields = {
            "output": self._signal(SignalKind.VALVE, valve),
            "width_ms": round(duration_s * 1000),
        }
        token = 0
        try:
            self._patiently("rinse", token=0, **fields)
        except Refused as refusal:
            if refusal.reason != "unconfirmed":
                raise
            token = refusal.detail
        if not confirm(duration_s):
            return None
        return self._serve("rinse", token=token, **fields)

    def watch(self, on: bool) -> None:
        """Start or stop logging the beams without a sequence; the edges come as events."""
        self._request("watch", on=int(on))

    # -- slots -------------------------------------------------------------------------------------------------
    def slots(self) -> SlotList:
        """Ask which slots hold a table, and which one is loaded at every start (0 is none)."""
        answer = self._request("slots")
        return SlotList(
            answer["chosen"], answer["most"], tuple(Slot(*slot) for slot in answer["slots"])
        )

    def save_slot(self, slot: int) -> None:
        """Save the ready table in a slot of the board."""
        self._request("slot_save", slot=slot)

    def load_slot(self, slot: int) -> None:
        """Make a slot's table the ready one; raises UserError if the slot is empty."""
        self._require_filled(slot)
        self._ready = None
        self._request("slot_load", slot=slot)

    def erase_slot(self, slot: int) -> None:
        """Empty a slot."""
        self._request("slot_erase", slot=slot)

    def choose_slot(self, slot: int) -> None:
        """Choose the slot to load at every start, for the button; 0 is none. Raises UserError if the slot is empty."""
        if slot:
            self._require_filled(slot)
        self._request("slot_choose", slot=slot)

    def _require_filled(self, slot: int) -> None:
        found = self.slots()
        if slot <= found.most and slot not in {one.slot for one in found.slots}:
            raise UserError(
                f"slot {slot} is empty; save a sequence there first: "
                f"`beamfall board slots save {slot} --sequence FILE`"
            )

    def edge_constant(self) -> EdgeConstant:
        """Ask which delay of an edge through its pins the board allows for.

        Raises DefinitionMismatch if its firmware is too old to know.
        """
        answer = self._request("edge_constant", set=0, ticks=0)
        return EdgeConstant(answer["ticks"], answer["expected"], answer["most"])

    def store_edge_constant(self, ticks: int) -> None:
        """Store a measured edge constant on the board, which uses it from the next release on and after every start."""
        self._request("edge_constant", set=1, ticks=ticks)

    def enter_maintenance(self) -> None:
        """Restart the board without its main loop, for an installer; this ends the link."""
        self._request("maintenance")

    def _signal(self, kind: SignalKind, number: int) -> Signal:
        try:
            return kind.nth(number)
        except LookupError as error:
            raise ShotError(str(error)) from error

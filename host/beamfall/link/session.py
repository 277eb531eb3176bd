"""A session with a board: requests answered once, reports in order, over a lossy transport.

See protocol/SPEC.md, "Sessions" and the sections after it. One thread; nothing happens between
calls, so call `pump` as often as reports matter.
"""

from __future__ import annotations

import secrets
from collections.abc import Callable
from dataclasses import dataclass

from beamfall.errors import (
    AtPrompt,
    BoardRestarted,
    DefinitionMismatch,
    LinkError,
    LinkLost,
    MessageError,
    NoAnswer,
    NotABoard,
    NotOpen,
    PortBusy,
    PortDenied,
    PortNotFound,
    Refused,
    ReleaseUnknown,
)
from beamfall.link.receiving import INSTANT_S, Awaited, FrameEnd
from beamfall.link.strangers import explain_stranger, is_prompt
from beamfall.link.transport import Transport
from beamfall.link.welcome import OlderDefinition, Welcome
from beamfall.wire.framing import DELIMITER, encode_frame
from beamfall.wire.messages import Message
from beamfall.wire.schema import Definition, MessageDefinition, WireEnum

NO_ROW = 65535  # in `refused`: no row at fault
_BETWEEN_S = 0.1  # how often a stop request is checked while waiting for an answer


def make_refusal(definition: Definition, answer: Message) -> Refused:
    """Return the error for a decoded `refused`, in the definition's words."""
    reason: WireEnum = answer["reason"]
    requested = definition.by_id.get(answer["request"])
    return Refused(
        requested.name if requested is not None else f"message {answer['request']}",
        reason.name,
        row=None if answer["row"] == NO_ROW else answer["row"],
        detail=answer["detail"],
        meaning=reason.meaning,
        cure=reason.cure,
    )


def go_on() -> None:
    """The default for `between`: never stops the wait."""


@dataclass(frozen=True)
class LinkTiming:
    """How long to wait, in seconds of the transport's clock.

    A request is sent again after `first_s`, then after `growth` times as long each time up to
    `longest_s`, at most `tries` times in total. `reconnect_s` is how long `reopen` waits for a lost
    port to come back.
    """

    first_s: float = 0.25
    growth: float = 2.0
    longest_s: float = 2.0
    tries: int = 8
    hello_tries: int = 5
    reconnect_s: float = 10.0


class Link(FrameEnd):
    """The host's end of the link.

    `transport` leads to the board; `reconnect` makes a new one after a loss (without it, a lost
    transport raises LinkLost). With `acknowledge_on_receipt` off, the caller calls `acknowledge`
    itself after storing what `pump` returned.
    """

    def __init__(
        self,
        transport: Transport,
        definition: Definition | None = None,
        *,
        timing: LinkTiming | None = None,
        reconnect: Callable[[], Transport] | None = None,
        acknowledge_on_receipt: bool = True,
        draw_session: Callable[[], int] | None = None,
    ) -> None:
        super().__init__(transport, definition, acknowledge_on_receipt=acknowledge_on_receipt)
        self._timing = timing or LinkTiming()
        self._reconnect = reconnect
        self._draw_session = draw_session or _draw_session
        self._number = 0

    @property
    def can_reconnect(self) -> bool:
        """Whether `reopen` can make a new transport after a loss."""
        return self._reconnect is not None

    # -- sessions ----------------------------------------------------------------------------------

    def open(self) -> Welcome:
        """Open a new session; return the board's welcome.

        Raises NotABoard, ProtocolMismatch, DefinitionMismatch, LinkLost, Refused, or NoAnswer if a
        board that answered before is silent.
        """
        try:
            return self._greet(self._definition.digest)
        except OlderDefinition as older:
            return self._greet(older.digest)

    def _greet(self, digest: bytes) -> Welcome:
        """Open a session that uses the definition of that digest."""
        self._asked = digest
        self.is_open = False
        self._framer.reset()
        self._stranger.clear()
        self._echoed = False
        session = self._draw_session()
        while not 0 < session <= 0xFFFF or session == self._session:
            session = self._draw_session()
        self._session = session
        self._number = 1
        hello = Message("hello", {"definition": digest})
        started_s = self.transport.clock()
        try:
            answer = self._exchange(hello, self._timing.hello_tries, Awaited(self._find(hello), 1))
        except NoAnswer as error:
            if self.welcome is not None:
                raise
            seconds = self.transport.clock() - started_s
            seen = bytes(self._stranger)
            kind = AtPrompt if is_prompt(seen) and not self._echoed else NotABoard
            text = explain_stranger(self.name, seen, self._echoed, seconds)
            raise kind(text, heard=seen, echoed=self._echoed) from error
        if answer.name == "refused":
            raise make_refusal(self._definition, answer)
        assert self.welcome is not None  # set when the answer came, for reports right after it
        return self.welcome

    def reopen(self, between: Callable[[], None] = go_on) -> Welcome:
        """Open a session after a loss, over a new transport if this link can make one.

        Waits up to `timing.reconnect_s` for the port and the same board to come back. It calls
        `between` meanwhile; an exception from it ends the wait. Raises what `open` and the maker
        of the transport raise, and LinkLost if another board is there. `welcome.boot_id` shows
        whether the board restarted.
        """
        self.is_open = False
        if self._reconnect is None:
            return self.open()
        old = self.transport
        deadline_s = old.clock() + self._timing.reconnect_s
        old.close()
        while True:
            between()
            try:
                self.transport = self._reconnect()
                self.counters.reconnections += 1
                return self.open()
            except (PortNotFound, PortBusy, PortDenied, LinkLost):
                # 'Denied' is retried too: the system sets a new device's rights a moment later.
                # And a port may disappear again while the plug goes in.
                self.transport.close()
                if old.clock() >= deadline_s:
                    raise
                old.sleep(min(0.2, self._timing.reconnect_s))

    def close(self) -> None:
        """Close the transport. The board is not notified; its host timeout does the rest."""
        self.is_open = False
        self.transport.close()

    # -- requests ----------------------------------------------------------------------------------

    def request(
        self,
        message: Message,
        *,
        between: Callable[[], None] = go_on,
        timing: LinkTiming | None = None,
    ) -> Message:
        """Send a request; return its answer. The board does it once, however often it is sent.

        Raises Refused; NoAnswer after all tries; NotOpen; LinkLost. If the session is lost, a new one is opened,
        and the request is repeated if that cannot carry it out twice. Otherwise: BoardRestarted if the board has
        restarted, NoAnswer if a service action may or may not have been carried out. If the answer to a release is
        lost, the board's last release in a new session shows whether it ran; ReleaseUnknown if it cannot show that.

        `between` is called before each sending and at least ten times a second while waiting for the answer; an
        exception from it ends the request, which is then not sent again. `timing` replaces the link's own for this
        request.
        """
        before = self._timing
        self._timing = timing or before
        try:
            return self._request(message, may_recover=True, between=between)
        finally:
            self._timing = before

    def settle_release(
        self, boot_id: int, release: int, between: Callable[[], None] = go_on
    ) -> bool:
        """Open a new session and find out whether a release without an answer has run.

        Raises ReleaseUnknown if the board has restarted since `boot_id`: then nobody can know.
        """
        welcome = self.reopen(between)
        if welcome.boot_id != boot_id:
            raise ReleaseUnknown(
                f"the answer to release {release} is lost and the board has restarted "
                f"({welcome.cause.label}), so it is unknown whether the shot ran; look at the rig, "
                "then upload and release again"
            )
        return welcome.last_release >= release

    def _request(
        self, message: Message, may_recover: bool, between: Callable[[], None] = go_on
    ) -> Message:
        if not self.is_open:
            raise NotOpen(f"no open session on {self.name}; call open() first")
        if message.name in (self._definition.find_added(self._asked) or ()):
            raise DefinitionMismatch(
                f"the board's firmware is older than this library and does not know {message.name.replace('_', '-')}; "
                "install the firmware that comes with this library: `beamfall board install`"
            )
        self._number += 1
        awaited = Awaited(self._find(message), self._number)
        try:
            answer = self._exchange(message, self._timing.tries, awaited, between)
        except (LinkLost, NoAnswer) as error:
            lost = isinstance(error, LinkLost)
            if lost:
                self.is_open = False
            unsure = message.name == "release" and awaited.sent > 0
            if may_recover and (self._reconnect is not None if lost else unsure):
                return self._recover(message, awaited.sent > 0, between)
            if unsure:
                raise self._make_unknown(message["release"], error) from error
            raise
        if answer.name == "refused":
            refusal = make_refusal(self._definition, answer)
            if refusal.reason == "no_session":
                self.is_open = False
                if may_recover:
                    return self._recover(message, awaited.sent > 1, between)
            raise refusal
        if message.name == "release":
            self._last_release = max(self._last_release, message["release"])
        return answer

    def _recover(
        self, message: Message, perhaps_done: bool, between: Callable[[], None]
    ) -> Message:
        """The session was lost during a request: open a new one and find out what became of it."""
        boot_id = self.welcome.boot_id if self.welcome is not None else 0
        if message.name == "release" and perhaps_done and message["release"] > self._last_release:
            try:
                ran = self.settle_release(boot_id, message["release"], between)
            except LinkError as error:
                raise self._make_unknown(message["release"], error) from error
            if ran:
                self._check_that_it_was_ours(message)
                return Message("done", {"request": self._find(message).id})
            return self._request(message, False, between)
        welcome = self.reopen(between)
        if welcome.boot_id != boot_id:
            before = "; it is unknown whether it was carried out before" if perhaps_done else ""
            raise BoardRestarted(
                f"the board has restarted ({welcome.cause.label}: {welcome.cause.meaning}); "
                f"{message.name.replace('_', '-')} was not carried out after the restart{before}; "
                "the board's table is gone: upload the sequence again",
                perhaps_done=perhaps_done,
            )
        if self._find(message).repeat == "once" and perhaps_done:
            raise NoAnswer(
                f"the answer to {message.name.replace('_', '-')} is lost: it may or may not have "
                "been carried out; look at the rig before you repeat it"
            )
        return self._request(message, False, between)

    def _check_that_it_was_ours(self, release: Message) -> None:
        """Check the table's digest: a used number proves nothing if another program has used this board since."""
        try:
            status = self._request(Message("status", {}), may_recover=False)
        except (LinkError, Refused) as error:  # refused: the board has lost this session too
            raise self._make_unknown(release["release"], error) from error
        if status["digest"] != release["digest"]:
            raise ReleaseUnknown(
                f"the answer to release {release['release']} is lost, and another program has used "
                "the board since, so it is unknown whether the shot ran; look at the rig, then "
                "upload and release again"
            )

    def _make_unknown(self, release: int, error: Exception) -> ReleaseUnknown:
        return ReleaseUnknown(
            f"the answer to release {release} is lost and the board cannot be asked ({error}), "
            "so it is unknown whether the shot ran; look at the rig, and reconnect before "
            "the next shot"
        )

    def _exchange(
        self, message: Message, tries: int, awaited: Awaited, between: Callable[[], None] = go_on
    ) -> Message:
        """Send a request until its answer comes."""
        frame = self.codec.make_frame(message, self._session, awaited.number)
        line = encode_frame(frame, self._definition)
        clock = self.transport.clock
        wait_s = self._timing.first_s
        self.counters.requests += 1
        received = self.counters.bytes_received
        damaged = self.counters.frames_bad_total
        self._awaited = awaited
        try:
            for attempt in range(tries):
                between()
                if attempt:
                    self.counters.retransmissions += 1
                # A leading delimiter ends any partial frame on the line.
                awaited.sent += 1
                self._send(line if self.is_open and not attempt else DELIMITER + line)
                deadline_s = clock() + wait_s
                while (left_s := deadline_s - clock()) > INSTANT_S:
                    self._receive(min(left_s, _BETWEEN_S))
                    if awaited.answer is not None:
                        return awaited.answer
                    between()
                wait_s = min(wait_s * self._timing.growth, self._timing.longest_s)
        finally:
            self._awaited = None
        what = message.name.replace("_", "-")
        harmless = self._find(message).repeat == "always"
        unsure = "" if harmless else ": it may or may not have been carried out"
        cure = "check the cable and the board's supply"
        if received != self.counters.bytes_received:
            cure = (
                f"{self.counters.bytes_received - received} other bytes came meanwhile, with "
                f"{self.counters.frames_bad_total - damaged} damaged frames: check the cable, that "
                "this is the board's port, and that no other program uses it"
            )
        raise NoAnswer(f"no answer to {what} from {self.name} in {tries} tries{unsure}; {cure}")

    # -- helpers -----------------------------------------------------------------------------------

    def _find(self, message: Message) -> MessageDefinition:
        definition = self._definition.messages.get(message.name)
        if definition is None or definition.kind != "request":
            raise MessageError(f"{message.name!r} is not a request")
        return definition


def _draw_session() -> int:
    return 1 + secrets.randbelow(0xFFFF)

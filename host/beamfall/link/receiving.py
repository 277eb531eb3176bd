"""One end of a lossy line: sends frames and sorts received ones into the awaited answer and reports in order.

See protocol/SPEC.md, "Requests and answers" and "Reports". `beamfall.link.session` handles sessions and their loss.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field

from beamfall.errors import AnotherBoard, LinkLost, MessageError, NotOpen
from beamfall.link.delivery import Origin, Report, ReportOrder, Verdict
from beamfall.link.strangers import make_mismatch
from beamfall.link.trace import describe_piece
from beamfall.link.transport import Transport
from beamfall.link.welcome import Welcome, check_welcome_head
from beamfall.wire.framing import DELIMITER, Frame, FrameError, FrameErrorName, Framer, encode_frame
from beamfall.wire.messages import Codec, Message, get_codec
from beamfall.wire.schema import Definition, MessageDefinition

INSTANT_S = 1e-6  # a clock that counts ticks cannot show a shorter wait
_RECENT = 60  # pieces of the line kept for fault reports
_SEEN_MAX = 200  # bytes from a strange device kept for the message


@dataclass
class LinkCounters:
    """What happened on a link, counted: nothing is dropped in silence. It continues after a reconnection."""

    bytes_received: int = 0
    frames_sent: int = 0
    frames_good: int = 0
    frames_bad: dict[str, int] = field(
        default_factory=lambda: dict.fromkeys((name.value for name in FrameErrorName), 0)
    )
    requests: int = 0  # made by the caller, hello included
    retransmissions: int = 0  # the same request sent again
    answers_dropped: int = 0  # late, from another session, or to another request
    reports_repeated: int = 0  # seen before: acknowledged again, not delivered
    reports_ahead: int = 0  # one before it is missing: dropped, the board goes back
    reports_foreign: int = 0  # of another session
    sessions: int = 0  # opened
    restarts: int = 0  # of the board, seen by its boot id
    reconnections: int = 0  # of the port

    @property
    def frames_bad_total(self) -> int:
        """All damaged or unusable frames."""
        return sum(self.frames_bad.values())


@dataclass
class Awaited:
    """The request under way."""

    request: MessageDefinition
    number: int
    answer: Message | None = None
    sent: int = 0


class FrameEnd:
    """Sends and receives the frames of one session over a transport.

    With `acknowledge_on_receipt` off, the caller calls `acknowledge` itself after storing what `pump` returned.
    """

    def __init__(
        self, transport: Transport, definition: Definition | None, *, acknowledge_on_receipt: bool
    ) -> None:
        self.codec = get_codec() if definition is None else Codec(definition)
        self._definition = self.codec.definition
        self._asked = self._definition.digest  # of the newest hello
        self.transport = transport  # a reconnection replaces it
        self._on_receipt = acknowledge_on_receipt
        self._framer = Framer(self._definition)
        self._session = 0
        self.is_open = False  # as far as this end knows
        self._awaited: Awaited | None = None
        self._order = ReportOrder()
        self._reports: deque[Report] = deque()
        self._kept: int | None = None  # newest report acknowledged
        self._acknowledge_due = False
        self._last_release = 0
        self._stranger = bytearray()
        self._echoed = False
        self._recent: deque[tuple[float, str, bytes]] = deque(maxlen=_RECENT)
        self.counters = LinkCounters()
        self.welcome: Welcome | None = None

    # -- for the caller to read --------------------------------------------------------------------

    @property
    def name(self) -> str:
        """The transport's name."""
        return self.transport.name

    # -- reports -----------------------------------------------------------------------------------

    def pump(self, timeout_s: float) -> list[Report]:
        """Return the reports that have come, in order; wait at most `timeout_s` for the first.

        Raises LinkLost, NotOpen.
        """
        if not self.is_open:
            raise NotOpen(f"no open session on {self.name}; call open() first")
        deadline_s = self.transport.clock() + timeout_s
        if self._reports:
            timeout_s = 0.0
        while True:
            try:
                self._receive(max(0.0, timeout_s))
            except LinkLost:
                self.is_open = False
                if not self._reports:
                    raise
            timeout_s = deadline_s - self.transport.clock()
            if self._reports or timeout_s <= INSTANT_S or not self.is_open:
                break
        reports = list(self._reports)
        self._reports.clear()
        return reports

    def acknowledge(self, through: int) -> None:
        """Acknowledge all reports up to `through`: the caller has kept them."""
        self._kept = through if self._kept is None else max(self._kept, through)
        if self.is_open:
            self._send_acknowledgement()

    def _send_acknowledgement(self) -> None:
        notice = Message("acknowledge", {"through": self._kept})
        frame = self.codec.make_frame(notice, self._session, 0)
        self._send(encode_frame(frame, self._definition))

    # -- frames ------------------------------------------------------------------------------------

    def describe_recent(self) -> list[str]:
        """Return the last pieces that went over the line, in words, for a fault report."""
        return [
            f"{when:12.6f} {arrow} {describe_piece(piece + DELIMITER)}"
            for when, arrow, data in self._recent
            for piece in data.split(DELIMITER)
            if piece
        ]

    def _send(self, line: bytes) -> None:
        self._recent.append((self.transport.clock(), "->", line))
        self.transport.write(line)
        self.counters.frames_sent += 1

    def _receive(self, timeout_s: float) -> None:
        data = self.transport.read(timeout_s)
        if not data:
            return
        self._recent.append((self.transport.clock(), "<-", data))
        self.counters.bytes_received += len(data)
        if not self.is_open and len(self._stranger) < _SEEN_MAX:
            self._stranger += data[:_SEEN_MAX]
        for found in self._framer.feed(data):
            if isinstance(found, FrameError):
                self._take_error(found)
            else:
                self._take_frame(found)
        if self._acknowledge_due and self.is_open and self._kept is not None:
            self._acknowledge_due = False
            self._send_acknowledgement()

    def _take_error(self, error: FrameError) -> None:
        self.counters.frames_bad[error.name] += 1
        frame = error.frame
        opening = not self.is_open and self._awaited is not None
        if opening and frame is not None and error.name is FrameErrorName.WRONG_VERSION:
            # Only the first two header bytes mean the same in every version.
            raise make_mismatch(frame.protocol, self._definition.protocol)

    def _take_frame(self, frame: Frame) -> None:
        self.counters.frames_good += 1
        definition = self._definition.by_id[frame.message]
        if definition.kind == "answer":
            self._take_answer(definition, frame)
        elif definition.kind == "report":
            self._take_report(definition, frame)
        elif definition.kind != "beacon":  # a beacon: the board identified itself, unasked
            self._echoed = self._echoed or frame.session == self._session

    def _take_answer(self, definition: MessageDefinition, frame: Frame) -> None:
        awaited = self._awaited
        ours = (
            awaited is not None
            and awaited.answer is None
            and (frame.session, frame.number) == (self._session, awaited.number)
            and definition.name in (awaited.request.answer, "refused")
        )
        if awaited is None or not ours:
            self.counters.answers_dropped += 1
            return
        if definition.name == "welcome":
            check_welcome_head(frame.payload, self._definition, self._asked)
        try:
            answer = self.codec.decode(definition.name, frame.payload)
        except MessageError:
            self.counters.frames_bad[FrameErrorName.BAD_PAYLOAD] += 1
            return
        if answer.fields.get("request", awaited.request.id) != awaited.request.id:
            self.counters.answers_dropped += 1
            return
        awaited.answer = answer
        if answer.name == "welcome":
            self._enter(Welcome.from_message(answer))

    def _enter(self, welcome: Welcome) -> None:
        known = self.welcome
        if known is not None and known.unique_id != welcome.unique_id:
            # Its numbers and reports do not belong to this session, nor our table to that board.
            raise AnotherBoard(
                f"another board is on {self.name}: {welcome.unique_id.hex()} ({welcome.name}); "
                f"the one in use was {known.unique_id.hex()} ({known.name}); plug it in again"
            )
        self.welcome = welcome
        self.counters.sessions += 1
        if self._order.begin(welcome.boot_id, welcome.oldest_report):
            self.counters.restarts += 1
            self._kept = None
        self._last_release = welcome.last_release
        self.is_open = True

    def _take_report(self, definition: MessageDefinition, frame: Frame) -> None:
        # Before the welcome the boot is unknown; the report will come again.
        if not self.is_open or frame.session != self._session:
            self.counters.reports_foreign += 1
            return
        origin = Origin.BOARD
        try:
            message = self.codec.decode(definition.name, frame.payload)
        except MessageError as error:
            # Undamaged but unreadable: asking again would not help, and dropping it would hide it.
            self.counters.frames_bad[FrameErrorName.BAD_PAYLOAD] += 1
            message = Message("trouble", {"text": f"a report that cannot be read: {error}"})
            origin = Origin.UNREADABLE
        first = message["first"] if message.name == "forgotten" else None
        verdict = self._order.take(frame.number, first)
        if verdict is Verdict.AHEAD:
            self.counters.reports_ahead += 1
            return
        if verdict is Verdict.REPEAT:
            self.counters.reports_repeated += 1
        else:
            if self._order.skipped is not None:
                first_lost, last_lost = self._order.skipped
                text = f"reports {first_lost} to {last_lost} went to another program"
                lost = Report(
                    self._order.boot_id or 0,
                    last_lost,
                    Message("trouble", {"text": text}),
                    Origin.TAKEN,
                )
                self._reports.append(lost)
            self._reports.append(Report(self._order.boot_id or 0, frame.number, message, origin))
            if self._on_receipt:
                self._kept = frame.number
        if self._on_receipt or verdict is Verdict.REPEAT:
            self._acknowledge_due = True

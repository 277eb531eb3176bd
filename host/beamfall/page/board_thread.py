"""The one thread that owns the board. It runs jobs one at a time; an abort goes ahead of them all.

`Board` and `ShotLog` are for one thread, so only this thread opens them. While no job runs, it listens
and asks for the board's status; a job drives the board through the library and reports its progress on the
hub. An abort raises AbortAsked inside whatever wait the job is in: that unwinds as Ctrl-C does on the
command line, and so switches the outputs off first and logs what happened.
"""

from __future__ import annotations

import contextlib
import queue
import threading
import time
from collections import deque
from dataclasses import dataclass, field

from beamfall.errors import AnotherBoard, BeamfallError, BoardRestarted, LinkError, UserError
from beamfall.page.bench import Bench
from beamfall.page.board_news import BoardNews, tell_waits
from beamfall.page.devices import ACTING
from beamfall.page.listening import BoardCallbacks, ListeningBoard, connect
from beamfall.page.paced import AbortAsked
from beamfall.page.pictures import warm_up
from beamfall.page.words import (
    ANOTHER_BOARD,
    OPENED_AGAIN,
    describe_board,
    describe_link,
    describe_unclaimed,
    say_error,
)
from beamfall.page.work import Job, Work
from beamfall.setup.limits import BoardLimits
from beamfall.setup.rig import Rig
from beamfall.shots import ShotLog
from beamfall.workflows.series import keep_unclaimed
from beamfall.workflows.slots import fetch_shots

_LISTEN_S = 0.05
_ASK_EVERY_S = 0.2  # how old the beam's state on the page may be
_RETRY_S = 1.0
_PRESSES_MOST = 100


@dataclass
class BoardThread(Bench):
    """Owns the board."""

    _jobs: queue.Queue[Job] = field(default_factory=queue.Queue)
    _abort: threading.Event = field(default_factory=threading.Event)
    _closing: threading.Event = field(default_factory=threading.Event)
    _lock: threading.Lock = field(default_factory=threading.Lock)
    _running: Job | None = None
    _given_up: Job | None = None  # requested before the last abort
    _presses: deque[str] = field(default_factory=lambda: deque(maxlen=_PRESSES_MOST))
    _interruptible: bool = False
    _asked_s: float = 0.0
    _round_trip_ms: float | None = None
    _was_lost: bool = False
    _at_pins: Rig | None = None  # what the port's own rig is made from, where it brings one
    _unexpected: str = ""
    _news: BoardNews = field(init=False)

    def __post_init__(self) -> None:
        super().__post_init__()
        self._news = BoardNews(self.hub)

    # -- for other threads -----------------------------------------------------------------------------------
    def start(self) -> None:
        """Start the thread."""
        nothing = dict.fromkeys(("live", "board", "job", "armed", "shot", "resting", "trend"))
        self.hub.set(link={"state": "connecting"}, **nothing)
        self._thread = threading.Thread(target=self._run, name="bench", daemon=True)
        self._thread.start()

    def begin_closing(self) -> None:
        """Abort what is running, close the port, and end; does not wait for it."""
        self._closing.set()
        self._abort.set()

    def close(self) -> None:
        """Close as `begin_closing` does, and wait for it."""
        self.begin_closing()
        self._thread.join(timeout=5.0)
        self.trends.close()  # a shot that ends meanwhile is still looked at

    def submit(self, job: Job) -> None:
        """Start a job; raises UserError while another one runs or no board is connected."""
        self._require_thread()
        with self._lock:
            self._refuse_if_busy()
            if self.hub.get("link", {}).get("state") != "up":
                raise UserError(
                    "no board is connected: check its cable; the page reconnects automatically"
                )
            job.asked_by = ACTING.get()
            self._running = job
        self._jobs.put(job)

    def require_idle(self) -> None:
        """Raise UserError while a job runs."""
        with self._lock:
            self._refuse_if_busy()

    def _refuse_if_busy(self) -> None:
        if self._running is not None:
            raise UserError(
                f"{self._running.title} is running: wait until it ends, or press Esc to abort it"
            )

    def abort(self, press: str = "") -> None:
        """Switch all outputs off now, whatever is running or about to begin; raises BeamfallError if
        that is impossible.

        `press`: a page reports each press in two ways. The slower report must not abort something that
        somebody has started since, so each press counts once.
        """
        self._require_thread()
        with self._lock:
            if press and press in self._presses:
                return
            self._presses.append(press)
            self._given_up = self._running
        self.hub.tell("abort")
        self._abort.set()
        self._require_thread()

    def abort_unseen(self) -> None:
        """Abort what is running because the last page was closed: nobody could stop it any more."""
        running = self._running
        if running is not None:
            self.abort()
            self.hub.notice("caution", f"{running.title} was aborted: the last page was closed.")

    def _require_thread(self) -> None:
        if not self._thread.is_alive() and not self._closing.is_set():
            raise BeamfallError(
                "Internal error: this page can no longer control the board. Switch the supply off if anything is "
                "on, end `beamfall page` with Ctrl-C and start it again"
            )

    # -- the thread ------------------------------------------------------------------------------------------
    def _run(self) -> None:
        try:
            while not self._closing.is_set():
                try:
                    self._hold_board()
                except AbortAsked:
                    continue
                except Exception as error:
                    # Whatever it is, the page must not lose its board for good.
                    self._say_unexpected(error)
                    self._closing.wait(_RETRY_S)
        finally:
            self.camera.close()
            if not self._closing.is_set():
                text = "Internal error: end `beamfall page` with Ctrl-C and start it again"
                self.hub.set(link={"state": "none", "text": text})

    def _hold_board(self) -> None:
        """Serve one board, from its hello until it is gone."""
        self._at_pins = self.desk.rig
        try:
            news = self._news
            callbacks = BoardCallbacks(
                news.take, news.take_status, lambda: self._say_lost(""), self._poll
            )
            board = connect(self.opener, self._at_pins, callbacks, pace=self.pace)
        except BeamfallError as error:
            self._abort.clear()  # there is no output to switch off
            self.hub.set(link={"state": "none", "text": str(error)})
            self._closing.wait(_RETRY_S)
            return
        try:
            self._serve(board)
        except AnotherBoard:
            self.hub.notice("caution", ANOTHER_BOARD)
        except LinkError as error:
            self._say_lost(str(error))
            self.hub.notice("caution", f"{error}. {OPENED_AGAIN}")
        except BeamfallError as error:
            self.hub.notice("error", str(error))
            self.hub.set(link={"state": "none", "text": str(error)})
            self._closing.wait(_RETRY_S)
        except Exception:
            with contextlib.suppress(Exception):
                board.abort()  # nobody is left to end what is running
            raise
        finally:
            # Report the first error.
            with contextlib.suppress(Exception, AbortAsked):
                board.close()
            if board.traits.is_virtual_time:
                self.waits.forget()
            self._forget_board()

    def _say_unexpected(self, error: Exception) -> None:
        """Report a bug in Beamfall once; the thread then connects to the board again."""
        text = self.hub.report_fault(error)
        self.hub.set(link={"state": "none", "text": f"{text}. Disconnecting and reconnecting."})
        if text == self._unexpected:
            return
        self._unexpected = text
        self.hub.notice("error", f"{text}. Disconnecting and reconnecting.")

    def _poll(self) -> None:
        """Called between the steps of every wait on the board's thread."""
        if self._interruptible and self._abort.is_set():
            self._interruptible = False  # switching the outputs off must not be interrupted
            raise AbortAsked

    def _serve(self, board: ListeningBoard) -> None:
        with ShotLog.open(self.log_path) as log:
            self._news.clock_hz = board.info.clock_hz
            self.desk.use_board(board.info.unique_id.hex())
            self.desk.by_hand.use_limits(BoardLimits.from_welcome(board.info))
            said = fetch_shots(board, log).say()
            if said:
                self.hub.notice("note", said)
            self._say_up(board)
            while not self._closing.is_set():
                if self._abort.is_set():
                    self._put_off(board)
                try:
                    job = self._jobs.get_nowait()
                except queue.Empty:
                    self._idle(board, log)
                else:
                    self._carry_out(job, board, log)
            board.abort()

    def _put_off(self, board: ListeningBoard) -> None:
        self._abort.clear()
        self.disarm()
        try:
            board.abort()
        except LinkError:
            self._abort.set()  # as soon as the board is back
            raise
        self.hub.notice("note", "Aborted: all outputs are off.")

    def _idle(self, board: ListeningBoard, log: ShotLog) -> None:
        try:
            board.pump(_LISTEN_S)
            now = time.monotonic()
            if now - self._asked_s >= _ASK_EVERY_S:
                self._asked_s = now
                began = time.perf_counter()
                board.status()
                self._round_trip_ms = (time.perf_counter() - began) * 1e3
                if not self._was_lost:
                    self._say_link(board)
        except BoardRestarted:
            self._was_lost = True  # it is back, after a restart
        except LinkError as error:
            self._say_lost(str(error))
            if isinstance(error, AnotherBoard) or not board.link.can_reconnect:
                raise
            self._closing.wait(0.1)
            return
        if self._was_lost:
            self._say_up(board)
        if self.armed is not None and self.armed.digest != board.ready_digest:
            self.disarm()
        self._take_outcomes(board, log)
        tell_waits(self.hub, self.waits, board, self.desk.rig, self.pace)

    def _take_outcomes(self, board: ListeningBoard, log: ShotLog) -> None:
        """Take shots that no job here waited for: those of the board's button, or of a program that has ended."""
        found = keep_unclaimed(board, log, rig=self.desk.rig)
        for one in found:
            if one.shot is not None:
                self.tell_line(log, one.shot)
            if one.button or one.shot is None:
                self.hub.notice("note", describe_unclaimed(one))
        if found:
            self.waits.note(board.transport.clock())
            board.settle()

    def _carry_out(self, job: Job, board: ListeningBoard, log: ShotLog) -> None:
        work = Work(self, job, board, log)
        if job is self._given_up:  # the abort came before it began: what was on is off
            with self._lock:
                self._running = None
            work.end("aborted", "")
            return
        work.tell()
        state, text = "ended", ""
        self._interruptible = True
        try:
            if self._abort.is_set():
                raise AbortAsked
            self._follow_desk(board)
            job.run(work)
        except AbortAsked:
            state = "aborted"
        except BeamfallError as error:
            state, text = "failed", say_error(error)
        except Exception as error:
            state, text = "failed", self.hub.report_fault(error)
        finally:
            self._interruptible = False
            if job.kind == "check":  # it flashes by itself
                self.waits.note(board.transport.clock(), shot=False)
            tell_waits(self.hub, self.waits, board, self.desk.rig, self.pace)
            with self._lock:
                self._running = None
        if state == "failed":
            self.hub.notice("error", text)
        work.end(state, text)
        if state != "ended":
            with contextlib.suppress(LinkError):
                if self._abort.is_set() or state == "aborted":
                    self._put_off(board)

    def _follow_desk(self, board: ListeningBoard) -> None:
        """A port that brings its own rig brings the one on the desk, also after somebody has changed it there."""
        rig, studio = self.desk.rig, board.traits.studio
        if studio is not None and rig != self._at_pins:
            studio.use_rig(rig)
            self._at_pins = rig

    # -- what is said ----------------------------------------------------------------------------------------
    def _say_up(self, board: ListeningBoard) -> None:
        beams = {beam.input: "clear" for beam in self.desk.rig.beams}
        self.hub.set(
            board=describe_board(board),
            live={"beams": beams, "state": board.info.state.label},
            slots=None,
        )
        board.status()
        self._was_lost = False
        self._unexpected = ""
        if board.traits.studio is not None:
            warm_up()
        self._say_link(board)
        self.hub.tell("link", state="up")

    def _say_link(self, board: ListeningBoard) -> None:
        self.hub.set(link=describe_link(board, self._round_trip_ms))

    def _say_lost(self, text: str) -> None:
        self._was_lost = True
        if self.hub.get("link", {}).get("state") not in ("lost", "none"):
            self.hub.tell("link", state="lost")
        self.hub.set(link={"state": "lost", "text": text})

    def _forget_board(self) -> None:
        self.disarm()
        self.single_shots = None
        while not self._jobs.empty():
            self._jobs.get_nowait()
        with self._lock:
            self._running = None
        self.hub.set(live=None)

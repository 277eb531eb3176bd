"""Shots with a log: each is logged before its release and completed after it.

Everything that fires more than once uses `Shooter`: shoot, sweep, seek, repeat, the page.
"""

from __future__ import annotations

import random
import secrets
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Self

from beamfall.board import Board, Ticket
from beamfall.board_session import ABORT_S
from beamfall.errors import BeamfallError, LinkLost, NoAnswer, Refused, ReleaseUnknown, ShotError
from beamfall.events import Outcome
from beamfall.interrupts import hold_interrupts
from beamfall.link.traits import Picture
from beamfall.setup.rig import Rig
from beamfall.setup.sequence import Sequence
from beamfall.setup.table import Table
from beamfall.shots import ShotLog, ShotRecord, make_record
from beamfall.shots.record import PROGRAM_ENDED
from beamfall.shots.record import WARM_UP as WARM_UP
from beamfall.wire import get_definition

# The shot may have run: the log leaves its outcome open.
_UNSURE = (ReleaseUnknown, LinkLost, NoAnswer)


BUTTON = "button"  # the kind of series that shots by the board's button make
JITTER_SHARE = 0.4  # of the rest, on top of it
JITTER_LEAST_S = 2.5  # cameras stamp whole seconds; with less, a shift by one shot fits too well
_SETTLE_S = 0.3
_SETTLED_MOST = 200  # more than any board keeps
_SETTLE_LOOKS = 5  # without a report, while the board says that it keeps some
_SHORT_REST_S = 0.5  # with a shorter rest, pictures cannot be told apart by their times anyway


class Shooter:
    """A series of shots of one rig on one board, kept in one log.

    `picture` is what the port's own camera saw of the newest shot; None: it has none, or the shot is not complete.
    """

    def __init__(
        self,
        board: Board,
        log: ShotLog,
        series: int,
        *,
        rig: Rig | None,
        seed: int | None = None,
        rest_seed: int = 0,
    ) -> None:
        self.board = board
        self.log = log
        self.series = series
        self.rig = rig
        self.seed = seed
        self.asked_by = ""  # the device that asked for the next shots
        self.picture: Picture | None = None
        self._rests = random.Random(f"{rest_seed}/rest/{series}")

    @classmethod
    def begin(
        cls,
        board: Board,
        log: ShotLog,
        kind: str,
        *,
        rig: Rig | None,
        seed: int | None = None,
        settings: Mapping[str, Any] | None = None,
    ) -> Self:
        """Begin a series of that kind (`shoot`, `sweep`, ...); first settle what the board still holds of earlier ones.

        `seed` is kept where the port is simulated or the series itself draws from it. The settings get
        `rest_seed` and the rule of the rest times beside what is given, see `rest`.
        """
        settle_earlier(board, log)
        chance = board.traits.seed
        seed = seed if chance is None else chance
        rest_seed = secrets.randbits(32) if chance is None else chance
        rests = {
            "rest_seed": rest_seed,
            "rest_jitter_share": JITTER_SHARE,
            "rest_jitter_least_s": JITTER_LEAST_S,
        }
        series = log.begin_series(
            kind, rig=rig, seed=seed, settings={**(settings or {}), **rests},
            begun_us=board.traits.time_of_day_us(not_before_us=log.latest_us() + 1),
        )  # fmt: skip
        return cls(board, log, series, rig=rig, seed=seed, rest_seed=rest_seed)

    def fire(self, sequence: Sequence, *, swept: Mapping[str, Any] | None = None) -> ShotRecord:
        """Fire one shot and return its record, which is then in the log.

        Raises what `Board.shoot` raises. The log is true even then: a refused shot is marked as not released, one
        whose fate is unknown stays 'outcome unknown', and an interrupted one is aborted and its outcome kept.
        """
        sequence = self.board.traits.as_set(sequence)
        table = sequence.make_table(self.board.info)
        ticket = self.board.arm(table)
        # A Ctrl-C is taken only where `take_interrupt` is called, so that the log and what is known here stay in
        # step: before each sending of the release, and while anything is waited for.
        with hold_interrupts() as take_interrupt:
            shot = self.log.begin_shot(
                self.series,
                table=table,
                board=self.board.info,
                port=self.board.name,
                release=ticket.release,
                rig=self.rig,
                seed=self.seed,
                swept=swept,
                asked_by=self.asked_by,
                begun_us=self.board.traits.time_of_day_us(),
            )
            released = False
            try:
                self.board.release(ticket, between=take_interrupt)
                released = True
                outcome = self.board.wait_for(ticket, between=take_interrupt)
            except Refused as refusal:
                self.log.cancel_shot(shot, refusal.reason.replace("_", "-"))
                raise
            except _UNSURE:
                raise
            except KeyboardInterrupt:
                self._interrupt(shot, table, ticket, released)
                raise
            return self._keep(shot, table, outcome)

    def _keep(self, shot: int, table: Any, outcome: Outcome) -> ShotRecord:
        known = self.board.traits.take_shot(outcome.edges)
        self.picture = None if known is None else known.picture
        record = make_record(
            table,
            outcome,
            timing=self.board.info.timing.label,
            shot=shot,
            seed=self.seed,
            truth=None if known is None else known.truth,
            rig=self.rig,
        )
        self.log.complete_shot(
            shot,
            record,
            link=describe_link(self.board),
            completed_us=self.board.traits.time_of_day_us(),
        )
        keep_unclaimed(self.board, self.log, rig=self.rig)
        self.board.settle()
        return record

    def _interrupt(self, shot: int, table: Any, ticket: Ticket, released: bool) -> None:
        """Ctrl-C: switch the outputs off first, then log the shot's outcome, in the short time available."""
        try:
            with self.board.giving_up_after(ABORT_S):
                self.board.abort()
                if not released and self.board.status().last_release < ticket.release:
                    self.log.cancel_shot(shot, "interrupted")
                else:
                    self._keep(shot, table, self.board.wait_for(ticket))
        except BeamfallError:
            pass  # the outcome stays unknown in the log, which is the truth

    def rest(self, seconds: float, passed_s: float = 0.0) -> float:
        """Wait between shots: the surface calms, the flash recycles. Returns how long, in s.

        `passed_s` of it have passed since the shot, while its picture was waited for.

        It is `seconds` and a random addition: shots at even intervals could not be told apart by the times that a
        camera writes into its pictures (`beamfall shots match`). The chance comes from the settings' `rest_seed`.
        """
        chosen = seconds + self._rests.random() * jitter_span(seconds)
        self.board.sleep(max(0.0, chosen - passed_s))
        return chosen


def jitter_span(rest_s: float) -> float:
    """By how much a rest of `rest_s` is lengthened at most, in s."""
    share = JITTER_SHARE * rest_s
    return share if rest_s < _SHORT_REST_S else max(share, JITTER_LEAST_S)


def settle_earlier(board: Board, log: ShotLog) -> list[int]:
    """Complete shots whose program ended before their outcome came, from the board's stored reports.

    Returns their ids. Waits for a shot that is still running. Shots that were logged and, as the board's
    count of releases shows, never released are marked so. Shots by the board's button are written
    into the log, see `keep_unclaimed`. Raises ShotError when the board does not stop reporting shots.
    """
    settled: list[int] = []
    quiet = 0
    while True:
        if len(settled) >= _SETTLED_MOST:
            raise ShotError(
                f"the board has reported {len(settled)} shots that Beamfall did not fire, and keeps reporting more. "
                "They are in the log. Is its button stuck? Unplug the button, restart the board and try again"
            )
        status = board.status()
        # A watch left by a program that was killed: nobody else can be on the port.
        if status.activity.name == "watch":
            board.watch(False)
            continue
        running = status.activity.name == "shot"
        if not status.reports_kept and not running:
            break
        # Only as many reports are on the way as fit the window: log what came, acknowledge, ask for more.
        events = board.pump(_SETTLE_S)
        settled += _ids(keep_unclaimed(board, log))
        board.settle()
        quiet = 0 if events or running else quiet + 1
        if quiet >= _SETTLE_LOOKS:
            break
    settled += _ids(keep_unclaimed(board, log))  # reports that came before this call
    if not board.traits.repeats_boot_ids:
        info = board.info
        for shot in log.find_never_released(
            info.unique_id, status.boot_id, status.last_release, below=_button_base()
        ):
            log.cancel_shot(shot, PROGRAM_ENDED)
    return settled


def settle_before_unlogged(board: Board) -> None:
    """Bring the board's stored reports of earlier shots, also by its button, into the log.

    For what is fired without a record, which would have the board forget them. A watch that a killed program has
    left behind ends.
    """
    status = board.status()
    if status.reports_kept or status.activity.name == "watch":
        with ShotLog.open() as log:
            settle_earlier(board, log)


@dataclass(frozen=True, slots=True)
class UnclaimedShot:
    """A shot that no caller here has waited for.

    `shot` is its id in the log, None if it is not there: of a program that logs elsewhere.
    `button`: the board's own button released it. `planned`: the log has its sequence.
    """

    shot: int | None
    state: str
    button: bool
    planned: bool = True


def keep_unclaimed(board: Board, log: ShotLog, *, rig: Rig | None = None) -> list[UnclaimedShot]:
    """Write shots that have ended and that nobody waited for into the log; return them.

    One that the log has begun is completed. One by the board's button becomes a shot of a series of
    kind 'button' (presses in a row share one), begun when its report came; `rig` is what stands
    there, if that is known. Its table is looked up by its digest; where the log does not have it,
    the shot has its measured edges, no planned ones, and a note that says so.
    """
    found = [
        _keep_one(board, log, outcome, rig)
        for outcome in board.take_outcomes()
        if outcome.done.activity.name == "shot"
    ]
    return [one for one in found if one is not None]


def _keep_one(
    board: Board, log: ShotLog, outcome: Outcome, rig: Rig | None
) -> UnclaimedShot | None:
    """None: the log has this outcome already."""
    done = outcome.done
    unique_id = board.info.unique_id
    button, planned = done.release > _button_base(), True
    shot = log.find_begun(unique_id, outcome.boot_id, done.release)
    if shot is not None:
        table = log.read_shot(shot).table
        planned = bool(table.rows)
    else:
        # A boot id that comes again says nothing; such a board forgets its reports, too.
        if not board.traits.repeats_boot_ids and log.has_release(
            unique_id, outcome.boot_id, done.release
        ):
            return None
        if not button:
            return UnclaimedShot(None, done.state.label, button)
        found = log.find_table(done.digest, board.info.clock_hz)
        planned = found is not None
        table = Table(board.info.clock_hz, ()) if found is None else found
        shot = log.begin_shot(
            _find_button_series(board, log, rig),
            table=table,
            board=replace(board.info, boot_id=outcome.boot_id),
            port=board.name,
            release=done.release,
            rig=rig,
        )
        if not planned:
            note = f"by the board's button; its sequence, {done.digest.hex()}, is not in this log"
            log.set_note(shot, note)
    record = make_record(table, outcome, timing=board.info.timing.label, shot=shot, rig=rig)
    log.complete_shot(shot, record, link=describe_link(board))
    return UnclaimedShot(shot, record.state, button, planned)


def _find_button_series(board: Board, log: ShotLog, rig: Rig | None) -> int:
    """The newest series where it is of this board's button, else a new one."""
    settings = {"board": board.info.unique_id.hex()}
    newest = log.list_series(limit=1)
    if newest and newest[0].kind == BUTTON and dict(newest[0].settings) == settings:
        return newest[0].series
    return log.begin_series(BUTTON, rig=rig, settings=settings)


def _button_base() -> int:
    return get_definition().limits.button_release_base


def _ids(found: list[UnclaimedShot]) -> list[int]:
    return [one.shot for one in found if one.shot is not None]


def describe_link(board: Board) -> dict[str, int]:
    """The link's counters that tell how good the line was, for the log."""
    counters = board.counters
    return {
        "frames_good": counters.frames_good,
        "frames_bad": counters.frames_bad_total,
        "retransmissions": counters.retransmissions,
        "reports_repeated": counters.reports_repeated,
        "reconnections": counters.reconnections,
        "restarts": counters.restarts,
    }

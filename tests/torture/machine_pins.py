"""Judges what the pins show, as it comes: which tables ran, how often, and whether every output kept its limits.

The judge knows what was sent and what the host was told (`Told`), and nothing about the firmware.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import Counter, defaultdict
from dataclasses import dataclass, field

from line import MS, TruthRig
from machine_tables import (
    BEAM1,
    CAMERA2,
    DUTY_MOST,
    DUTY_WINDOW,
    FIRST,
    FLASH_GAP,
    FLASHES,
    LONGEST,
    RINSE_MAX_MS,
    TABLE_OUTPUTS,
    VALVE_GAP,
    VALVES,
    Plan,
    find_table,
)

Edge = tuple[int, int, int]  # ticks, signal, level
# A press of the button releases between these after it is let go: it must be up for 30 ms, and the board looks every
# 10 ms.
_PRESS_LEAST, _PRESS_MOST = 25 * MS, 60 * MS


@dataclass
class Told:
    """What was asked of the board, and what its host reports about it."""

    plans: dict[int, Plan] = field(default_factory=dict)
    by_digest: dict[bytes, int] = field(default_factory=dict)
    # By boot id and release: the one table that ran, or those that may have (at most one of them has).
    done: dict[tuple[int, int], int] = field(default_factory=dict)
    unknown: dict[tuple[int, int], set[int]] = field(default_factory=dict)
    # By table: reset before the pins had moved.
    unseen: Counter[int] = field(default_factory=Counter)
    services: dict[tuple[int, int], bool] = field(default_factory=dict)  # output, width -> surely
    presses: list[tuple[int, int]] = field(default_factory=list)  # life, ticks: not yet a shot

    def add(self, plan: Plan) -> Plan:
        self.plans[plan.table] = plan
        self.by_digest[plan.digest] = plan.table
        return plan

    def note_done(self, key: tuple[int, int], table: int) -> None:
        """The host says that this release ran; then no other with that number has."""
        assert key not in self.done, "a release number was taken twice"
        self.unknown.pop(key, None)
        self.done[key] = table

    def note_unknown(self, key: tuple[int, int], table: int) -> None:
        if key not in self.done:
            self.unknown.setdefault(key, set()).add(table)

    def most(self, table: int) -> int:
        """How often a table may have run for a host."""
        known = sum(ran == table for ran in self.done.values())
        return known + sum(table in tables for tables in self.unknown.values())


@dataclass
class Shot:
    """A shot as the pins show it. `pulses`: (output, from the zero, width; -1: still on)."""

    life: int
    zero: int
    by_button: bool
    pulses: list[tuple[int, int, int]] = field(default_factory=list)
    dark: int | None = None  # the first drop's edge, from the zero

    @property
    def table(self) -> int:
        return find_table(self.pulses)


class PinJudge:
    def __init__(self, rig: TruthRig, told: Told) -> None:
        self._rig = rig
        self._told = told
        self._looked_at = 0
        self.changes: dict[int, list[Edge]] = defaultdict(list)  # by life
        self.shots: list[Shot] = []
        self.served: Counter[tuple[int, int]] = Counter()  # output, width
        self._on: dict[int, int] = {}
        self._began: dict[tuple[int, int], int] = {}  # life, output
        self._open: dict[tuple[int, int], list[tuple[int, int]]] = {}

    def look(self, now: int) -> None:
        """Judge what has changed since the last look; `now` on the clock of all lives."""
        fresh = self._rig.changes[self._looked_at :]
        self._looked_at += len(fresh)
        outputs = 0
        for life, ticks, signal, level in fresh:
            self.changes[life].append((ticks, signal, level))
            if signal in LONGEST:
                outputs += 1
                if level:
                    self._goes_on(life, ticks, signal)
                else:
                    self._goes_off(life, ticks, signal)
            elif (signal, level) == (BEAM1, 1) and self.shots:
                shot = self.shots[-1]
                if shot.life == life and shot.dark is None and ticks > shot.zero:
                    shot.dark = ticks - shot.zero
        for signal, since in self._on.items():
            self._check_width(signal, now - since)
        if outputs:
            self._judge_shots()
            self._judge_services()

    # -- one output ----------------------------------------------------------------------------------------------
    def _check_width(self, signal: int, width: int) -> None:
        longest = LONGEST[signal]
        if signal in VALVES:
            rinses = [w for output, w in self._told.services if output == signal]
            longest = max([longest, *rinses])
            assert longest <= RINSE_MAX_MS * MS
        assert width <= longest, f"output {signal} was on for {width} ticks"

    def _goes_on(self, life: int, ticks: int, signal: int) -> None:
        key = (life, signal)
        if signal in VALVES and self._open.get(key):
            rest = ticks - self._open[key][-1][1]
            assert rest >= VALVE_GAP, f"valve {signal} opened again after {rest} ticks"
        if signal in FLASHES and key in self._began:
            rest = ticks - self._began[key]
            assert rest >= FLASH_GAP, f"flash {signal} fired again after {rest} ticks"
        self._on[signal] = self._began[key] = ticks
        if signal == CAMERA2:
            self._begin_shot(life, ticks - FIRST)
        if signal in TABLE_OUTPUTS:
            assert self.shots and self.shots[-1].life == life, "an output moved with no shot"
            shot = self.shots[-1]
            shot.pulses.append((signal, ticks - shot.zero, -1))

    def _goes_off(self, life: int, ticks: int, signal: int) -> None:
        since = self._on.pop(signal)
        self._check_width(signal, ticks - since)
        if signal in VALVES:
            self._check_duty(life, signal, since, ticks)
        if signal in TABLE_OUTPUTS:
            shot = self.shots[-1]
            at = shot.pulses.index((signal, since - shot.zero, -1))
            shot.pulses[at] = (signal, since - shot.zero, ticks - since)
        else:
            self.served[signal, ticks - since] += 1

    def _check_duty(self, life: int, valve: int, since: int, now: int) -> None:
        """Check the window that ends with this opening. A rinse may exceed the share, but only alone."""
        begin = now - DUTY_WINDOW
        kept = [(on, off) for on, off in self._open.get((life, valve), []) if off > begin]
        kept.append((since, now))
        self._open[life, valve] = kept
        total = sum(off - max(on, begin) for on, off in kept)
        assert total <= DUTY_MOST or len(kept) == 1, (
            f"valve {valve} was open for {total} ticks of a duty window"
        )

    # -- shots ---------------------------------------------------------------------------------------------------
    def _begin_shot(self, life: int, zero: int) -> None:
        presses = self._told.presses
        pressed = [
            press
            for press in presses
            if press[0] == life and _PRESS_LEAST <= zero - press[1] <= _PRESS_MOST
        ]
        if pressed:
            presses.remove(pressed[0])  # one press, one shot
        shot = Shot(life, zero, bool(pressed))
        for ticks, signal, level in self.changes_after(life, zero):
            if (signal, level) == (BEAM1, 1) and shot.dark is None:
                shot.dark = ticks - zero
        self.shots.append(shot)

    def changes_after(self, life: int, ticks: int) -> list[Edge]:
        """The changes at all pins in that life after that time, in their order."""
        changes = self.changes[life]
        return changes[bisect_left(changes, (ticks + 1, 0, 0)) :]

    def _judge_shots(self) -> None:
        """Only tables that were sent whole run, exactly as written until they end, and no more often than they were
        released."""
        told = self._told
        ran: Counter[int] = Counter()
        surely: Counter[int] = Counter()
        for shot in self.shots:
            table = shot.table
            ran[table] += 1
            surely[table] += not shot.by_button
            if not table:
                continue
            assert table in told.plans, (
                f"what ran is not a table that was sent whole: {shot.pulses}"
            )
        self._judge_rows(self.shots[-2:])
        unclear = surely.pop(0, 0)
        for table, times in surely.items():
            most = told.most(table)
            assert times <= most, f"table {table} ran {times} times; the host knows of {most}"
        total = len(told.done) + len(told.unknown)
        assert unclear + sum(surely.values()) <= total, "a shot ran of which no host knows"
        self.ran = ran

    def _judge_rows(self, shots: list[Shot]) -> None:
        for shot in shots:
            if not shot.table:
                continue
            written = self._told.plans[shot.table].written(shot.dark)
            for output, delay, width in shot.pulses:
                assert any(o == output and d == delay and width <= w for o, d, w in written), (
                    f"output {output} moved otherwise than table {shot.table} has it: {shot}"
                )

    def count(self, table: int) -> int:
        """How often a table ran, for a host or the button."""
        return sum(shot.table == table for shot in self.shots)

    def check_that_all_ran(self) -> None:
        """Whatever the host knows to have run did run."""
        unclear = sum(not shot.table for shot in self.shots)
        missing = 0
        for table, times in Counter(self._told.done.values()).items():
            short = times - self._told.unseen[table] - self.count(table)
            missing += max(0, short)
        assert missing <= unclear, "a shot that the host knows of did not run"

    # -- service actions -----------------------------------------------------------------------------------------
    def _judge_services(self) -> None:
        """Each happened once or not at all; one that was stopped is shorter than asked."""
        asked = self._told.services
        cut: Counter[int] = Counter()
        for (output, width), times in self.served.items():
            if (output, width) in asked:
                assert times == 1, f"output {output} was driven {times} times for {width} ticks"
            else:
                longer = [w for o, w in asked if o == output and w > width]
                assert longer, f"nobody asked for {width} ticks of output {output}"
                cut[output] += times
        for output, times in cut.items():
            whole = sum(o == output for o, _ in self.served if (o, _) in asked)
            assert times + whole <= sum(o == output for o, _ in asked), (
                f"output {output} was driven more often than asked for"
            )

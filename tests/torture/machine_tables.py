"""Sequence tables that can be told apart at the pins, and the limits of the board that runs them."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from line import HZ, MS

from beamfall.setup.sequence import Row, Sequence
from beamfall.sim.firmware_modules import load_firmware
from beamfall.wire import Message, get_codec, make_table_messages

CODEC = get_codec()
PROFILE = load_firmware().profile
_US = HZ // 1_000_000

VALVE1, VALVE2, VALVE3, FLASH1, FLASH2, CAMERA2 = 1, 2, 3, 4, 5, 8
BEAM1, BEAM2, BUTTON = 9, 10, 12
NAMES = {VALVE1: "valve1", VALVE2: "valve2", FLASH1: "flash1", CAMERA2: "shutter"}
TABLE_OUTPUTS = frozenset(NAMES)
SERVED = (VALVE3, FLASH2)  # for service actions alone
VALVES = (VALVE1, VALVE2, VALVE3)
FLASHES = (FLASH1, FLASH2)

# What the pins may show, in ticks: the profile's own figures.
LONGEST = dict.fromkeys(VALVES, PROFILE.VALVE_MAX_US * _US)
LONGEST |= dict.fromkeys(FLASHES, PROFILE.FLASH_MAX_US * _US)
LONGEST[CAMERA2] = PROFILE.CAMERA_MAX_MS * MS
RINSE_MAX_MS = PROFILE.RINSE_MAX_MS
VALVE_GAP = PROFILE.VALVE_GAP_US * _US
FLASH_GAP = PROFILE.FLASH_GAP_US * _US
DUTY_WINDOW = PROFILE.DUTY_WINDOW_MS * MS
DUTY_MOST = DUTY_WINDOW * PROFILE.DUTY_PERCENT // 100

# Every table begins with the shutter so long after the release: the pins show the zero.
FIRST = 1 * MS
TAIL = 10 * MS
WINDOW = 300 * MS
MARK = 100  # ticks: that many times its number are in a table's times
_VALVE1_AT = 5 * MS
_SHUTTER = {"short": 60 * MS, "long": 2500 * MS, "beam": 60 * MS, "open": 60 * MS}
KINDS = tuple(_SHUTTER)

TableRow = tuple[int, int, int, int, int]  # anchor, count, output, delay, width


@dataclass(frozen=True)
class Plan:
    """A table as written. `kind`: short; long, the shutter for 2.5 s; beam, a flash after the first drop; open, a valve
    for almost all of 1.3 s."""

    table: int
    kind: str

    @cached_property
    def rows(self) -> tuple[TableRow, ...]:
        mark = self.table * MARK
        rows: list[TableRow] = [
            (0, 0, CAMERA2, FIRST, _SHUTTER[self.kind] + mark),
            (0, 0, VALVE1, _VALVE1_AT + mark, 10 * MS + mark),
            (0, 0, VALVE1, 30 * MS + mark, 12 * MS + mark),
        ]
        if self.kind == "open":
            rows += [(0, 0, VALVE2, (22 + 195 * i) * MS + mark, 190 * MS) for i in range(7)]
        else:
            rows.append((0, 0, VALVE2, 22 * MS + mark, 8 * MS))
        anchor = int(self.waits)
        rows.append((anchor, anchor, FLASH1, 40 * MS + mark, 1 * MS))
        return tuple(rows)

    @property
    def waits(self) -> bool:
        return self.kind == "beam"

    @cached_property
    def sequence(self) -> Sequence:
        return Sequence(
            rows=tuple(
                Row("beam1" if anchor else "release", count, NAMES[output], delay / HZ, width / HZ)
                for anchor, count, output, delay, width in self.rows
            ),
            window_s=WINDOW / HZ if self.waits else 0.0,
            tail_s=TAIL / HZ,
        )

    @cached_property
    def digest(self) -> bytes:
        return self.sequence.to_table(HZ).digest

    def written(self, dark: int | None) -> set[tuple[int, int, int]]:
        """(output, delay, width) of all rows that get a time, all from the release; `dark`: the first drop's edge."""
        return {
            (output, delay + ((dark or 0) if anchor else 0), width)
            for anchor, _, output, delay, width in self.rows
            if not anchor or dark is not None
        }

    def end(self, dark: int | None) -> int:
        """When a shot that was not stopped is over, with its tail."""
        return max(delay + width for _, delay, width in self.written(dark)) + TAIL


def find_table(pulses: list[tuple[int, int, int]]) -> int:
    """The number of the table with these pulses (output, from the zero, width or -1); 0: too few were seen."""
    for output, delay, width in pulses:
        if output == VALVE1:
            return (delay - _VALVE1_AT) // MARK
        if output == CAMERA2 and len(pulses) == 1:
            for whole in set(_SHUTTER.values()):
                if 0 < width - whole < MS and (width - whole) % MARK == 0:
                    return (width - whole) // MARK
    return 0


def make_raw(rows: tuple[TableRow, ...]) -> tuple[Message, list[tuple[int, ...]], bytes]:
    """The table_begin, row records and digest of rows that await no beam, unchecked."""
    records = [
        (a, c, o, 0, d, w) for a, c, o, d, w in sorted(rows, key=lambda r: (r[0], r[1], r[3], r[2]))
    ]
    fields = {
        "window_ticks": 0, "tail_ticks": TAIL, "blanking_ticks": 0, "dwell_ticks": 0,
        "beam1_edge": 1, "beam2_edge": 1, "await1": 0, "await2": 0,
    }  # fmt: skip
    made = make_table_messages(CODEC, fields, records)
    return made.requests[0], records, made.digest

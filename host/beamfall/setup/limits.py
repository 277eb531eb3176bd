"""A board's limits for a sequence table, and the check of a table against them, with messages in words.

The firmware checks the same rules again (firmware/beamfall_board/limits.py) and does not rely on
this; here they are said in the user's units, all at once, with the cure.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Self

from beamfall.errors import SequenceError, UserError
from beamfall.setup.signals import INPUTS, OUTPUTS, Signal, SignalKind
from beamfall.setup.table import BEAMS, Table, TickRow
from beamfall.setup.unit_words import format_duration, format_two_durations

if TYPE_CHECKING:
    from beamfall.link import Welcome

HORIZON_TICKS = 2**30 - 1  # messages.toml: limits.horizon_ticks
COUNT_MAX = 255  # a u8 on the wire


@dataclass(frozen=True, slots=True)
class BoardLimits:
    """The limits a board states in its welcome, in the welcome's own units; see messages.toml.

    `outputs` and `inputs` are the names of the signals that the board has. The defaults are those of the
    simulated board, firmware/boards/simulated.py.
    """

    name: str = "simulated"
    clock_hz: int = 125_000_000
    outputs: frozenset[str] = frozenset(signal.name for signal in OUTPUTS)
    inputs: frozenset[str] = frozenset(signal.name for signal in INPUTS)
    rows_max: int = 64
    valve_max_us: int = 200_000
    valve_gap_us: int = 2_000
    duty_percent: int = 30
    duty_window_ms: int = 10_000
    rinse_max_ms: int = 5_000
    flash_max_us: int = 20_000
    flash_gap_us: int = 20_000
    camera_max_ms: int = 8_000
    window_max_ms: int = 5_000
    earliest_ticks: int = 125
    earliest_beam_ticks: int = 125

    @classmethod
    def from_welcome(cls, welcome: Any) -> Self:
        """Take over the limits from a `beamfall.link.Welcome`."""
        plain = {
            name: getattr(welcome, name)
            for name in cls.__dataclass_fields__
            if name not in ("outputs", "inputs")
        }
        return cls(
            outputs=frozenset(s.name for s in OUTPUTS if welcome.outputs >> s & 1),
            inputs=frozenset(s.name for s in INPUTS if welcome.inputs >> s & 1),
            **plain,
        )

    def ticks_of_us(self, us: int) -> int:
        """Microseconds in whole ticks, rounded down as the board does."""
        return us * self.clock_hz // 1_000_000

    def ticks_of_ms(self, ms: int) -> int:
        """Milliseconds in whole ticks, rounded down as the board does."""
        return ms * self.clock_hz // 1000

    def longest_ticks(self, output: str) -> int:
        """The longest width of one row of `output`."""
        kind = Signal.of(output).kind
        if kind is SignalKind.VALVE:
            return self.ticks_of_us(self.valve_max_us)
        if kind is SignalKind.FLASH:
            return self.ticks_of_us(self.flash_max_us)
        return min(self.ticks_of_ms(self.camera_max_ms), HORIZON_TICKS)

    def find_free(self, row: TickRow) -> int:
        """The time from the start of a row until its output may switch on again, in ticks."""
        if row.kind is SignalKind.FLASH:
            return max(self.ticks_of_us(self.flash_gap_us), row.width_ticks + 1)
        gap = self.ticks_of_us(self.valve_gap_us) if row.kind is SignalKind.VALVE else 1
        return row.width_ticks + gap

    def longest_valve_sum_ticks(self) -> int:
        """The longest sum of one valve's openings in a table."""
        return self.ticks_of_ms(self.duty_window_ms) * self.duty_percent // 100


@dataclass(frozen=True, slots=True)
class Problem:
    """One rule that a table breaks: `row` counts as in the sequence file, from 1; None: the whole.

    `reason` is the name of the refusal (messages.toml) that the board would give.
    """

    row: int | None
    reason: str
    text: str


def check_table(table: Table, limits: BoardLimits) -> None:
    """Raise SequenceError, naming every rule broken, unless `limits` allow `table`."""
    problems = find_problems(table, limits)
    if problems:
        lines = "".join(f"\n  {problem.text}" for problem in problems)
        count = "a rule" if len(problems) == 1 else f"{len(problems)} rules"
        raise SequenceError(f"the sequence breaks {count} of board '{limits.name}':{lines}")


def find_problems(table: Table, limits: BoardLimits) -> list[Problem]:
    """Return every rule of the board that a table breaks; empty when it may run."""
    if table.clock_hz != limits.clock_hz:
        raise ValueError(f"table for {table.clock_hz} Hz, board with {limits.clock_hz} Hz")
    problems = [
        *_check_head(table, limits),
        *(problem for row in table.rows for problem in _check_row(row, table, limits)),
        *_check_neighbours(table, limits),
        *_check_duty(table, limits),
    ]
    return sorted(problems, key=lambda problem: problem.row or 0)


def _longest_window(limits: BoardLimits) -> int:
    return min(limits.ticks_of_ms(limits.window_max_ms), HORIZON_TICKS)


def _check_head(table: Table, limits: BoardLimits) -> Iterator[Problem]:
    say = _Say(table.clock_hz)
    if not table.rows:
        yield Problem(None, "too_many_rows", "it has no rows; give at least one")
    if len(table.rows) > limits.rows_max:
        yield Problem(
            None,
            "too_many_rows",
            f"it has {len(table.rows)} rows, but the board holds {limits.rows_max}; remove rows",
        )
    window_max = _longest_window(limits)
    if table.window_ticks > window_max:
        text = "window is {}, the longest is {}; shorten it"
        yield Problem(None, "beyond_horizon", say.two(text, table.window_ticks, window_max))
    for name, ticks, most in (
        ("tail", table.tail_ticks, HORIZON_TICKS - min(table.window_ticks, window_max)),
        ("blanking", table.blanking_ticks, HORIZON_TICKS),
        ("dwell", table.dwell_ticks, HORIZON_TICKS),
    ):
        if ticks > most:
            text = f"{name} is {{}}, the longest is {{}}; shorten it"
            yield Problem(None, "beyond_horizon", say.two(text, ticks, most))
    awaited = sum(table.awaits)
    if awaited and not table.window_ticks:
        yield Problem(
            None,
            "window_missing",
            f'it waits for {awaited} beam edge(s) but has no window; add one, such as window = "1 s"',
        )
    if table.window_ticks and not awaited:
        yield Problem(
            None,
            "window_missing",
            "it has a window but waits for no beam edge; remove the window, "
            "or anchor a flash at a beam",
        )
    for beam, count in zip(BEAMS, table.awaits, strict=True):
        if count and beam not in limits.inputs:
            yield Problem(
                None, "bad_anchor", f"it waits for {beam}, which this board does not have"
            )


def _check_row(row: TickRow, table: Table, limits: BoardLimits) -> Iterator[Problem]:
    say = _Say(table.clock_hz)

    def problem(reason: str, text: str) -> Problem:
        return Problem(row.origin + 1, reason, f"{row.describe(table.clock_hz)}: {text}")

    if row.output not in limits.outputs:
        yield problem(
            "bad_output",
            f"this board has no output {row.output}; it has {', '.join(sorted(limits.outputs))}",
        )
    if row.anchor == "release":
        latest, earliest = HORIZON_TICKS - table.tail_ticks, limits.earliest_ticks
        if row.count:
            yield problem(
                "bad_anchor", f"count is {row.count}; the release has no count: remove it"
            )
    else:
        # A longer one has been reported already
        window = min(table.window_ticks, _longest_window(limits))
        latest = HORIZON_TICKS - table.tail_ticks - window
        earliest = limits.earliest_beam_ticks
        if row.kind is not SignalKind.FLASH:
            yield problem(
                "bad_anchor",
                f"{row.output} cannot follow {row.anchor}; only flashes can, "
                "valves and camera are anchored to the release",
            )
        awaited = table.awaits[BEAMS.index(row.anchor)]
        if not 1 <= row.count <= COUNT_MAX:
            yield problem("bad_anchor", f"count is {row.count}; it must be from 1 to {COUNT_MAX}")
        elif row.count > awaited:
            yield problem(
                "window_missing",
                f"it follows {row.where}, but only {awaited} are awaited; "
                "raise `awaits`, or remove it",
            )
    if row.width_ticks == 0:
        yield problem("zero_width", "width is 0; give at least one tick of the clock")
    longest = limits.longest_ticks(row.output)
    if row.width_ticks > longest:
        word = "opening" if row.kind is SignalKind.VALVE else "width"
        text = f"{word} is {{}}, the longest on this board is {{}}; shorten it"
        yield problem("width_too_long", say.two(text, row.width_ticks, longest))
    if row.delay_ticks + row.width_ticks > latest:
        text = "it ends {} after its anchor, but must end within {}; make delay, window or tail shorter"
        end = row.delay_ticks + row.width_ticks
        yield problem("beyond_horizon", say.two(text, end, latest))
    if row.delay_ticks < earliest:
        text = "delay is {}, the earliest on this board is {}; use a longer delay"
        yield problem("too_early", say.two(text, row.delay_ticks, earliest))
    if row.anchor != "release" and row.delay_ticks < table.dwell_ticks:
        text = (
            "delay is {}, shorter than the dwell of {} after which an edge counts; "
            "use a longer delay or a shorter dwell"
        )
        yield problem("before_dwell", say.two(text, row.delay_ticks, table.dwell_ticks))


def _check_neighbours(table: Table, limits: BoardLimits) -> Iterator[Problem]:
    """Each row against the nearest earlier row of its output; the order makes that enough."""
    last: dict[str, TickRow] = {}
    for row in table.rows:
        if row.output in last:
            yield from _check_pair(row, last[row.output], table, limits)
        last[row.output] = row


def _check_pair(
    row: TickRow, other: TickRow, table: Table, limits: BoardLimits
) -> Iterator[Problem]:
    say = _Say(table.clock_hz)

    def problem(reason: str, text: str) -> Problem:
        where = f"{row.describe(table.clock_hz)} and {other.describe(table.clock_hz)}"
        return Problem(row.origin + 1, reason, f"{where}: {text}")

    if other.anchor != row.anchor:
        text = "rows of one output must share one anchor; use one, or another output"
        yield problem("bad_anchor", text)
        return
    # Between two counted edges of a beam lies at least the blanking.
    between = (row.count - other.count) * table.blanking_ticks
    start_gap = between + row.delay_ticks - other.delay_ticks
    gap = start_gap - other.width_ticks
    flash_gap = limits.ticks_of_us(limits.flash_gap_us)
    cure = "spread them"
    if row.count != other.count:
        cure = "spread them, or set blanking so that their beam edges cannot come closer"
    if row.kind is SignalKind.FLASH and start_gap < flash_gap:
        text = f"they may come {{}} apart, but must be at least {{}} apart; {cure}"
        yield problem("flash_spacing", say.two(text, max(start_gap, 0), flash_gap))
        return
    least = limits.ticks_of_us(limits.valve_gap_us) if row.kind is SignalKind.VALVE else 1
    if gap < 0:
        text = f"they overlap by {say(-gap)}; move them apart by that and {say(least)} more"
        yield problem("overlap", text)
    elif gap < least:
        text = "{} between them, but at least {} is needed; move them apart"
        yield problem("overlap", say.two(text, gap, least))


def _check_duty(table: Table, limits: BoardLimits) -> Iterator[Problem]:
    say = _Say(table.clock_hz)
    most = limits.longest_valve_sum_ticks()
    for valve in SignalKind.VALVE.names:
        rows = [row for row in table.rows if row.output == valve]
        total = sum(row.width_ticks for row in rows)
        if total > most:
            text = (
                f"{valve} is open for {{}} in total, but at most {{}} is allowed ({limits.duty_percent} % of "
                f"{limits.duty_window_ms} ms, so that the coil stays cool); open it less often or for a shorter time"
            )
            yield Problem(rows[-1].origin + 1, "duty", say.two(text, total, most))


# -- a single action: the board checks the same and does not rely on this --------------------------
def check_opening(opening_s: float, board: Welcome) -> None:
    """Raise UserError unless a valve of this board may open for `opening_s` for one drop."""
    _check_time("an opening", "a valve opens", opening_s, board, board.valve_max_us / 1e6)


def check_contact(contact_s: float, board: Welcome) -> None:
    """Raise UserError unless a flash contact of this board may close for `contact_s`."""
    _check_time("a contact", "it closes", contact_s, board, board.flash_max_us / 1e6)


def check_rinse(duration_s: float, board: Welcome) -> None:
    """Raise UserError unless this board holds a valve open for `duration_s`; it counts in milliseconds."""
    _check_time(
        "rinsing", "a valve stays open", duration_s, board, board.rinse_max_ms / 1e3, least_s=1e-3
    )


def _check_time(
    what: str, does: str, seconds: float, board: Welcome, most_s: float, *, least_s: float = 0.0
) -> None:
    least_s = least_s or 1 / board.clock_hz
    # Half a unit of the board's rounds up to one. What is not a number fails the comparison.
    if 0.5 * least_s < seconds <= most_s * (1.0 + 1e-9):
        return
    given, most = format_two_durations(seconds, most_s)
    raise UserError(
        f"{what} of {given}: on board '{board.name}' {does} for {format_duration(least_s)} to {most}"
    )


class _Say:
    """Writes ticks of one clock as people read times."""

    def __init__(self, clock_hz: int) -> None:
        self._clock_hz = clock_hz

    def __call__(self, ticks: int) -> str:
        return format_duration(ticks / self._clock_hz)

    def two(self, text: str, one: int, other: int) -> str:
        """A text with two times in its places, with enough digits to show the difference."""
        return text.format(*format_two_durations(one / self._clock_hz, other / self._clock_hz))

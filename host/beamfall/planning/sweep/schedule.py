"""Which value is fired when, and the sequence that fires it.

Rigs drift: the head falls, the valve warms. Fired in a line, from the lowest value to the highest,
drift looks like an effect of the value. Interleaved, every second value goes up and the others
come down, so that what drifts evenly cancels between neighbours; shuffled, chance decides. With
repeats each round takes every value once (a randomised block design when shuffled).
"""

from __future__ import annotations

import random
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from beamfall.errors import UserError, WrongValue
from beamfall.planning.rows import keep_open
from beamfall.setup.sequence import Row, Sequence
from beamfall.setup.signals import SignalKind

OF = ("flash", "spacing", "opening")
# The number also in brackets, as messages about files write it.
_ROW_VALUE = re.compile(r"row ?\[?(\d{1,3})\]?\.(delay|width)")
ORDERS = ("line", "interleave", "shuffle")
STEPS_MOST = 2000
ROUNDS_MOST = 100
_TINY = 1e-9


def read_row_value(of: str) -> tuple[int, str] | None:
    """The row, from 1, and the field of `row3.delay`; None where `of` names no value of a row."""
    found = _ROW_VALUE.fullmatch(of)
    return None if found is None else (int(found[1]), found[2])


def say_swept(of: str) -> str:
    """What is swept, in words: `the flash`, `the delay of row 3`."""
    value = read_row_value(of)
    return f"the {of}" if value is None else f"the {value[1]} of row {value[0]}"


@dataclass(frozen=True)
class Step:
    """One shot of a sweep: `index` in the order of firing, from 1."""

    index: int
    value_s: float
    repeat: int

    def to_swept(self, of: str) -> dict[str, Any]:
        """What the shot log keeps beside the shot."""
        return {
            "of": of,
            "step": self.index,
            "value_ms": round(self.value_s * 1e3, 6),
            "repeat": self.repeat,
        }


@dataclass(frozen=True)
class Sweep:
    """A sweep of one timing around a sequence; times in s. Raises UserError for what cannot be swept."""

    of: str
    first_s: float
    last_s: float
    step_s: float
    base: Sequence
    repeat: int = 1
    order: str = "line"
    seed: int = 0

    def __post_init__(self) -> None:
        check_swept(self.of)
        value = read_row_value(self.of)
        if value is not None and not 1 <= value[0] <= len(self.base.rows):
            last = len(self.base.rows)
            raise WrongValue(
                f"cannot sweep {self.of}: the sequence has rows 1 to {last}",
                of="of", found=self.of, low=1, high=last,
            )  # fmt: skip
        if self.order not in ORDERS:
            raise WrongValue(
                f"order = {self.order}: expected {', '.join(ORDERS)}",
                of="order", found=self.order, choices=ORDERS,
            )  # fmt: skip
        if self.step_s <= 0.0:
            raise WrongValue(
                f"a step of {self.step_s * 1e3:g} ms: it must be more than 0",
                of="step", found=self.step_s, low=0.0,
            )  # fmt: skip
        if self.last_s < self.first_s:
            raise WrongValue(
                f"a sweep from {self.first_s * 1e3:g} ms to {self.last_s * 1e3:g} ms: "
                "give the lower one first",
                of="to", found=self.last_s, low=self.first_s,
            )  # fmt: skip
        if self.first_s < 0.0:
            raise WrongValue(
                f"a sweep from {self.first_s * 1e3:g} ms: no time here can be below 0",
                of="from", found=self.first_s, low=0.0,
            )  # fmt: skip
        if not 1 <= self.repeat <= ROUNDS_MOST:
            raise WrongValue(
                f"{self.repeat} rounds: expected 1 to {ROUNDS_MOST}",
                of="repeat", found=self.repeat, low=1, high=ROUNDS_MOST,
            )  # fmt: skip
        # Before it is a whole number: the smallest steps make more than any of those.
        many = (self.last_s - self.first_s) / self.step_s > STEPS_MOST
        count = STEPS_MOST + 1 if many else self._count() * self.repeat
        if count > STEPS_MOST:
            made = f"more than {STEPS_MOST}" if many else count
            raise WrongValue(
                f"a step of {self.step_s * 1e3:g} ms makes {made} shots; at most {STEPS_MOST} in one "
                "sweep: take a larger step or a shorter range",
                of="steps", found=count, high=STEPS_MOST,
            )  # fmt: skip

    def _count(self) -> int:
        return int((self.last_s - self.first_s) / self.step_s + _TINY) + 1

    @property
    def values_s(self) -> list[float]:
        """The values, lowest first; the last one is `last_s` where the steps meet it."""
        return [self.first_s + n * self.step_s for n in range(self._count())]

    @property
    def steps(self) -> list[Step]:
        """Every shot in the order of firing; the same for the same seed."""
        chance = random.Random(f"{self.seed}/order")
        values: list[tuple[float, int]] = []
        for turn in range(1, self.repeat + 1):
            round_ = self.values_s
            if self.order == "interleave":
                round_ = round_[::2] + round_[1::2][::-1]
            elif self.order == "shuffle":
                chance.shuffle(round_)
            values += [(value, turn) for value in round_]
        return [Step(n, value, turn) for n, (value, turn) in enumerate(values, 1)]

    def build(self, value_s: float) -> Sequence:
        """The base sequence with the swept timing set to a value."""
        value = read_row_value(self.of)
        if value is not None:
            return _set_row(self.base, *value, value_s)
        change = {"flash": _set_flash, "spacing": _set_spacing, "opening": _set_opening}[self.of]
        return change(self.base, value_s)

    def to_settings(self) -> dict[str, Any]:
        """What a series keeps of a sweep, so that it can be resumed elsewhere."""
        return {
            "of": self.of,
            "from_s": self.first_s,
            "to_s": self.last_s,
            "step_s": self.step_s,
            "repeat": self.repeat,
            "order": self.order,
            "order_seed": self.seed,
            "base": _describe_sequence(self.base),
        }

    @classmethod
    def from_settings(cls, settings: Mapping[str, Any]) -> Sweep:
        """Rebuild a sweep from `to_settings`; raises UserError if they are of something else."""
        try:
            return cls(
                of=settings["of"],
                first_s=float(settings["from_s"]),
                last_s=float(settings["to_s"]),
                step_s=float(settings["step_s"]),
                base=_rebuild_sequence(settings["base"]),
                repeat=int(settings["repeat"]),
                order=settings["order"],
                seed=int(settings["order_seed"]),
            )
        except (KeyError, TypeError) as error:
            raise UserError(
                f"this series cannot be resumed: setting {error} is missing; start a new sweep"
            ) from error


def check_swept(of: str) -> None:
    """Raise UserError for what is neither a timing nor a value of a row."""
    if of not in OF and read_row_value(of) is None:
        raise WrongValue(
            f"cannot sweep {of}: choose one of {', '.join(OF)}, or a value of a row such as row3.delay",
            of="of", found=of, choices=OF,
        )  # fmt: skip


def _set_row(base: Sequence, number: int, field: str, value_s: float) -> Sequence:
    """Change only that value: everything else of a table by hand stays as it was written."""
    row = base.rows[number - 1]
    fresh = replace(row, delay_s=value_s) if field == "delay" else replace(row, width_s=value_s)
    return replace(base, rows=(*base.rows[: number - 1], fresh, *base.rows[number:]))


def _set_flash(base: Sequence, value_s: float) -> Sequence:
    """All flashes move together, the first one to the value."""
    flash = base.flash_row()
    if flash is None:
        raise UserError("a sweep of the flash: the sequence has no flash")
    shift = value_s - flash.delay_s
    rows = tuple(
        replace(row, delay_s=max(0.0, row.delay_s + shift)) if row.kind is SignalKind.FLASH else row
        for row in base.rows
    )
    return _stretch(replace(base, rows=rows), max(0.0, shift), window=False)


def _set_spacing(base: Sequence, value_s: float) -> Sequence:
    """The second opening moves, and what comes after it with it.

    That is also a flash that follows the release or drop 1's edge; one that follows a later edge moves by itself.
    """
    opened = sorted(row.delay_s for row in base.rows if row.kind is SignalKind.VALVE)
    if len(opened) < 2:
        raise UserError("a sweep of the spacing: the sequence opens a valve only once")
    shift = opened[0] + value_s - opened[1]
    rows = tuple(
        replace(row, delay_s=row.delay_s + shift) if _comes_later(row, opened) else row
        for row in base.rows
    )
    return _stretch(replace(base, rows=rows), max(0.0, shift))


def _comes_later(row: Row, opened: list[float]) -> bool:
    """Whether a row comes with or after the second opening."""
    if row.kind is SignalKind.VALVE:
        return row.delay_s > opened[0]
    if row.kind is not SignalKind.FLASH:
        return False
    return row.delay_s > opened[1] if row.anchor == "release" else row.count == 1


def _set_opening(base: Sequence, value_s: float) -> Sequence:
    """Every opening takes the value; a longer one lets its drop go later."""
    valves = [row for row in base.rows if row.kind is SignalKind.VALVE]
    if not valves:
        raise UserError("a sweep of the opening: the sequence opens no valve")
    rows = tuple(
        replace(row, width_s=value_s) if row.kind is SignalKind.VALVE else row for row in base.rows
    )
    longer = max(0.0, value_s - min(row.width_s for row in valves))
    return _stretch(replace(base, rows=rows), longer)


def _stretch(sequence: Sequence, more_s: float, *, window: bool = True) -> Sequence:
    """Extend window and camera by as much as the shot."""
    rows = tuple(
        keep_open(row, more_s) if row.kind is SignalKind.CAMERA else row for row in sequence.rows
    )
    longer = sequence.window_s + more_s if window and sequence.window_s else sequence.window_s
    return replace(sequence, rows=rows, window_s=longer)


def _describe_sequence(sequence: Sequence) -> dict[str, Any]:
    plain: dict[str, Any] = {
        name: getattr(sequence, name) for name in Sequence.__dataclass_fields__ if name != "rows"
    }
    plain["rows"] = [
        [row.anchor, row.count, row.output, row.delay_s, row.width_s] for row in sequence.rows
    ]
    return plain


def _rebuild_sequence(plain: Mapping[str, Any]) -> Sequence:
    rows = tuple(Row(*row) for row in plain["rows"])
    rest = {
        name: plain[name]
        for name in Sequence.__dataclass_fields__
        if name != "rows" and name in plain
    }
    return Sequence(rows=rows, **rest)

"""What a port knows apart from its bytes: time, chance, and the rig that some ports bring with them.

`PortTraits` gives the answers of a real port. A port with its own rig overrides them, so that callers
never have to ask which kind of port it is.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, NamedTuple, Protocol, TypeVar

Planned = TypeVar("Planned")  # a `beamfall.setup.sequence.Sequence`


class StampedEdge(Protocol):
    """An edge of a shot, see `beamfall.events.Edge`."""

    @property
    def signal(self) -> int: ...
    @property
    def level(self) -> int: ...
    @property
    def ticks(self) -> int: ...


class Picture(Protocol):
    """What the port's own camera saw of one shot."""

    @property
    def shows(self) -> str | None:
        """The truth about it in a word of `beamfall seek`; None if it is black."""

    @property
    def stage_s(self) -> float | None:
        """The truth: how long after the drops met its light came, in s; None if they did not meet, or it is black."""

    def find_stage(self, kind: str) -> float | None:
        """The truth: how long its light came after the moment that this aim wants, in s; None if it never came."""

    def draw(
        self,
        path: Path,
        *,
        tell: bool = True,
        taken: datetime | None = None,
        width: int | None = None,
    ) -> None:
        """Write it as a PNG, or as a JPEG where the path ends so; with a caption of what it shows if `tell`.

        `width`: its pixels across, None: a full picture. `taken` is what the camera's clock showed, for its EXIF;
        None: the time of the shot, where it is known. Raises UserError if it cannot be written.
        """


@dataclass(frozen=True, slots=True)
class Prediction:
    """What a rig would most likely show: a JPEG, and in words and s what `Picture` says of itself."""

    jpeg: bytes
    shows: str | None
    stage_s: float | None


@dataclass(frozen=True, slots=True)
class KnownShot:
    """A shot for which the port knows the truth: `truth` for the record (plain values), and its picture."""

    truth: dict[str, Any]
    picture: Picture


class Seen(NamedTuple):
    """A photographer's answer about a picture: a word of `beamfall seek`, and any measured heights in m.

    `age` and `width_m` as in `beamfall.planning.seek.answer.Answer`.
    """

    word: str
    jet_m: float | None = None
    drop_m: float | None = None
    age: str = ""
    width_m: float | None = None


class Asked(Protocol):
    """A question to the person at the rig, see `beamfall.faults.questions.Question`."""

    @property
    def name(self) -> str: ...
    @property
    def answers(self) -> Collection[str]: ...


class Helper(Protocol):
    """A person at the port's rig, who does what is asked and says what there is to see."""

    def begin(self, cautions: tuple[str, ...]) -> None: ...
    def prepare(self, question: Asked) -> None: ...
    def act(self, question: Asked, listen: Callable[[float], None]) -> None: ...
    def answer(self, question: Asked) -> str: ...
    def finish(self, question: Asked) -> None: ...


class Studio(Protocol):
    """The camera and the people of a port that has its own rig."""

    def use_rig(self, rig: Any) -> None:
        """Rebuild the port's rig from a rig file (`beamfall.setup.rig.Rig`); the board keeps its state.

        Raises PhysicsRangeError for a rig that cannot be built; then the port keeps the one it has.
        """

    def draw_sheet(
        self, pictures: Sequence[tuple[Picture, str]], path: Path, *, title: str = ""
    ) -> None:
        """Draw pictures with the words below each on one sheet (PNG), in order; raises as `Picture.draw`."""

    def draw_pictures(self, pictures: Sequence[Picture], path: Path) -> None:
        """Draw one picture alone, several as a sheet, numbered and described."""

    def find_photographer(self, *, heights: bool = False) -> Callable[[Picture | None], Seen]:
        """Return the photographer who judges a picture, or None; with `heights` they also measure it."""

    def find_helper(self, *, valve: int, beam: int, flash: int, wrong_share: float = 0.0) -> Helper:
        """Return a person who helps to find a fault of these lines; `wrong_share` of the answers are wrong."""

    def describe_needs(
        self,
        stage_s: float,
        meeting: float,
        edge: str,
        drops: Sequence[tuple[int, float, float]] = (),
        kind: str = "collision",
    ) -> dict[str, Any] | None:
        """The values in ms, by name, with which this rig shows that stage; None if it makes no jet.

        Drop 2 meets the jet at a fraction `meeting` of its rise; `edge` is the beam edge that counts. `drops`: of each
        its valve's number, opening in s, and time in s after the contact before; two of the first valve if left out.
        `kind` is that of the rig's aim; of one drop the stage counts from that moment of its splash.
        """


class PortTraits:
    """The answers of a real port. `studio` is None: camera and people do not belong to the port."""

    is_virtual_time: bool = False  # its clock runs only while the host waits, so the page paces it
    seed: int | None = None  # seed of a port whose shots can be repeated exactly
    repeats_boot_ids: bool = False  # the boot id is the same each time the port opens
    names_rig: bool = False  # the port's name identifies the rig; the board's id does not
    # What is connected to the board's pins is part of the port, and simulated
    brings_rig: bool = False
    studio: Studio | None = None

    def time_of_day_us(self, *, not_before_us: int = 0) -> int:
        """Now, in µs since 1970; a virtual clock that is behind `not_before_us` is set to it."""
        return time.time_ns() // 1000

    def take_shot(self, edges: Iterable[StampedEdge]) -> KnownShot | None:
        """Return what the port knows about the shot that has just ended, and forget it; None if nothing.

        `edges` are the shot's own; they show when its clock started.
        """
        return None

    def as_set(self, sequence: Planned) -> Planned:
        """Return the sequence that this rig actually runs for a planned one; a real rig runs the same."""
        return sequence

    def renew_chance(self, shots: int) -> None:
        """Advance the random numbers by that many shots, so that the first drops do not repeat."""


REAL = PortTraits()

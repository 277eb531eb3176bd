"""Pictures that arrive while shots are fired: which of them shows the shot just fired.

A `PictureSource` gives files: a camera, a folder that another program fills, or the port's own camera. `Arrivals` makes
pictures of them (RAW beside JPEG is one) and gives each shot its own, by order and by the camera's clock. Where two
pictures could be the one, it decides nothing: `choose` returns both, and a person is asked.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Protocol, Self

from beamfall.errors import BeamfallError, CameraError, CameraProblem, PictureError
from beamfall.files import explain_write
from beamfall.link.traits import Picture
from beamfall.photos.exif import Photograph, read_exposure, read_photograph, read_tags
from beamfall.photos.folder import rank
from beamfall.photos.thumbnail import make_thumbnail
from beamfall.shots.exposure import Exposure

WAIT_S = 20.0  # a long exposure, its noise reduction and a slow cable take less
RAW_ALONE_S = 2.5  # after a raw file, for the JPEG that many cameras write beside it
_LATE_S = 0.5  # before the next shot, for a picture that is due
_CLOCK_S = 1.5  # release to exposure, plus what a camera's clock loses in a series
_CHECK_PIXELS = 64


@dataclass(frozen=True, slots=True)
class ExpectedShot:
    """A shot whose picture is expected.

    `fired_s`: this computer's time at its release, s since 1970. `picture`: what the port's own camera saw, where
    the port has one.
    """

    series: int
    shot: int
    fired_s: float
    picture: Picture | None = None


class PictureSource(Protocol):
    """Where pictures come from. `take` raises CameraError if no more can come."""

    name: str  # for people
    quiet_s: float  # how long after a picture another one may come that belongs to the same moment
    knows_shot: bool  # a file delivered after a shot belongs to that shot and no other
    moves: bool  # its files are ours to name; otherwise they stay where they are
    # What the camera itself says about its settings, where it can be asked
    settings: Exposure | None

    def open(self, folder: Path, between: Callable[[], object]) -> None:
        """Begin; files that are ours go into `folder`. Raises CameraError, MissingExtra, UserError.

        `between` is called at least ten times a second meanwhile; an exception from it ends the wait.
        """

    def expect(self, shot: ExpectedShot) -> None:
        """A shot has just been fired."""

    def take(self, timeout_s: float) -> list[Path]:
        """Return the complete files that have come since the last call; wait at most `timeout_s` for the first."""

    def explain(self) -> CameraError | None:
        """Why nothing has come, if the source knows; takes at most a second."""

    def close(self) -> None:
        """End within a second, whatever the camera does."""


@dataclass(frozen=True, slots=True)
class NewPicture:
    """One picture; `files` are the same picture in different formats, the one that is easiest to show first."""

    files: tuple[Path, ...]

    @property
    def file(self) -> Path:
        return self.files[0]


@dataclass(frozen=True, slots=True)
class Choice:
    """The pictures that came after a shot; `clear` is the one that shows it, None if a person has to say."""

    pictures: tuple[NewPicture, ...]
    clear: NewPicture | None


@dataclass(frozen=True, slots=True)
class Arrived:
    """A shot's picture: where it is, how it was found and how it was exposed. `damage`: why it cannot be shown."""

    shot: int
    path: Path
    twins: tuple[Path, ...]
    how: dict[str, Any]
    exposure: Exposure | None = None
    damage: str | None = None

    @property
    def name(self) -> str:
        """What the log calls it."""
        return str(self.path.resolve())


@dataclass(frozen=True, slots=True)
class Late:
    """Files that came between two shots: a picture of the earlier one, and files that belong to no shot."""

    arrived: Arrived | None = None
    strays: tuple[Path, ...] = ()


@dataclass
class Arrivals:
    """The pictures of a program's shots. `folder`: for files that are ours. Use it in a `with` block."""

    source: PictureSource
    folder: Path
    wait_s: float = WAIT_S
    _shot: ExpectedShot | None = None
    _files: list[Path] = field(default_factory=list)
    _begun_s: float = 0.0
    _newest_s: float = 0.0
    _lost: CameraError | None = None
    _is_due: bool = False  # the newest shot has no picture, and one may still come
    _stem: str = ""  # of the newest shot's picture, as it arrived
    _kept: Path | None = None
    _offsets_s: list[float] = field(default_factory=list)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.source.close()

    def open(self, between: Callable[[], object] = lambda: None) -> None:
        """Begin; raises CameraError if there is no camera to begin with. `between`: see `PictureSource.open`."""
        if self.source.moves:
            with explain_write(self.folder):
                self.folder.mkdir(parents=True, exist_ok=True)
        self.source.open(self.folder, between)
        self._lost, self._is_due = None, False  # files that came while it was gone are not reported

    # -- before a shot -----------------------------------------------------------------------------------------
    def collect_late(self, between: Callable[[], object] = lambda: None) -> Late:
        """Return what has come since the last shot's wait ended; a source that was lost is opened again."""
        if self._lost is not None:
            try:
                self.source.close()
                self.open(between)
            except CameraError as error:
                self._lost = error
                return Late()
        try:
            files = self.source.take(_LATE_S if self._is_due else 0.0)
        except CameraError as error:
            self._lost = error
            return Late()
        twins = [file for file in files if self._stem and _stem(file) == self._stem]
        pictures = _group([file for file in files if file not in twins])
        for twin in twins:
            self._name_twin(twin)
        arrived = None
        if self._is_due and len(pictures) == 1 and self._may_show(pictures[0]) is not False:
            arrived = self.keep(pictures.pop(), "late")
        return Late(arrived, tuple(self._put_aside(pictures)))

    # -- after a shot ------------------------------------------------------------------------------------------
    def expect(self, shot: ExpectedShot) -> None:
        """A shot has just been fired: its picture is waited for from now on."""
        self._shot = shot
        self._files, self._stem, self._kept = [], "", None
        self._begun_s = time.monotonic()
        if self._lost is None:
            try:
                self.source.expect(shot)
            except CameraError as error:
                self._lost = error

    def look(self, timeout_s: float) -> None:
        """Collect what comes within `timeout_s`."""
        if self._lost is not None:
            return
        try:
            files = self.source.take(timeout_s)
        except CameraError as error:
            self._lost = error
            return
        if files:
            self._files += files
            self._newest_s = time.monotonic()

    @property
    def is_over(self) -> bool:
        """Whether the wait is over: a picture is here and no second one follows it, or none comes any more."""
        now = time.monotonic()
        if self._lost is not None or now - self._begun_s >= self.wait_s:
            return True
        if not self._files:
            return False
        alone = all(_is_raw(one.file) for one in _group(self._files))
        quiet_s = max(self.source.quiet_s, RAW_ALONE_S) if alone else self.source.quiet_s
        return now - self._newest_s >= quiet_s

    def choose(self) -> Choice:
        """Return which picture shows the shot, as far as it can be known. Raises CameraError if none has come."""
        pictures = _group(self._files)
        if not pictures:
            self._is_due = True
            raise self._say_why()
        known = [self._may_show(one) for one in pictures]
        if known.count(True) == 1:
            return Choice(tuple(pictures), pictures[known.index(True)])
        # The picture of an earlier shot may still be on its way: then even a single one is not clear.
        if len(pictures) == 1 and not self._is_due and known[0] is None:
            return Choice(tuple(pictures), pictures[0])
        return Choice(tuple(pictures), None)

    def keep(self, picture: NewPicture | None, by: str = "order") -> Arrived:
        """Make a picture the newest shot's; None: none of them. `by`: order, late, or asked (somebody has said so).

        Raises CameraError for None, FileWriteError if the files cannot be named.
        """
        shot = self._shot
        assert shot is not None, "a picture is kept for a shot"
        others = [one for one in _group(self._files) if one != picture]
        self._files = []
        self._put_aside(others)
        if picture is None:
            self._is_due = False
            raise CameraError(
                CameraProblem.UNDECIDED,
                f"shot {shot.shot} has no picture: several could be it. Pair them later: beamfall shots match FOLDER",
            )
        self._is_due = False
        self._stem = _stem(picture.file)
        paths = [self._name(file, shot) for file in picture.files]
        self._kept = paths[0]
        taken = _read_time(paths[0])
        if taken is not None:
            self._offsets_s.append(taken.taken_s - shot.fired_s)
        how = {
            "by": by,
            "source": self.source.name,
            "arrived_s": round(time.monotonic() - self._begun_s, 3),
            **({"taken": taken.taken} if taken is not None else {}),
        }
        exposure = (_read_exposure(paths[0]) or Exposure()).or_else(self.source.settings)
        return Arrived(
            shot.shot,
            paths[0],
            tuple(paths[1:]),
            how,
            exposure if exposure.to_json() else None,
            _find_damage(paths[0]),
        )

    # -- which picture -----------------------------------------------------------------------------------------
    def _may_show(self, picture: NewPicture) -> bool | None:
        """Whether the camera's clock puts a picture at the newest shot; None if it cannot say."""
        if self.source.knows_shot:
            return None
        taken = _read_time(picture.file)
        if taken is None or not self._offsets_s or self._shot is None:
            return None
        expected_s = self._shot.fired_s + self._offsets_s[-1]
        return abs(taken.taken_s - expected_s) <= taken.step_s + _CLOCK_S

    def _say_why(self) -> CameraError:
        if self._lost is not None:
            return self._lost
        known = self.source.explain()
        if known is not None:
            return known
        return CameraError(
            CameraProblem.NO_FILE,
            f"no picture came from {self.source.name} in {self.wait_s:g} s. Is the shutter cable plugged in, "
            "and does the camera save to its card or send to this computer?",
        )

    # -- files -------------------------------------------------------------------------------------------------
    def _name(self, file: Path, shot: ExpectedShot) -> Path:
        name = f"series-{shot.series:04d}-shot-{shot.shot:06d}{file.suffix.lower()}"
        return self._rename(file, self.folder / name)

    def _name_twin(self, twin: Path) -> None:
        if self._kept is not None:
            self._rename(twin, self._kept.with_suffix(twin.suffix.lower()))

    def _put_aside(self, pictures: Sequence[NewPicture]) -> list[Path]:
        """Set aside files that belong to no shot; none is deleted."""
        return [
            self._rename(file, self.folder / f"no-shot-{file.name}")
            for picture in pictures
            for file in picture.files
        ]

    def _rename(self, file: Path, to: Path) -> Path:
        if not self.source.moves:
            return file
        number = 1
        target = to
        while target.exists():
            number += 1
            target = to.with_stem(f"{to.stem}-{number}")
        with explain_write(target):
            file.rename(target)
        return target


def _group(files: Sequence[Path]) -> list[NewPicture]:
    """Files of one name and different endings are one picture."""
    groups: dict[str, list[Path]] = {}
    for file in files:
        groups.setdefault(_stem(file), []).append(file)
    return [NewPicture(tuple(sorted(same, key=rank))) for same in groups.values()]


def _stem(file: Path) -> str:
    return file.stem.lower()


def _is_raw(file: Path) -> bool:
    return rank(file) >= rank(Path("first.arw"))


def _read_time(file: Path) -> Photograph | None:
    try:
        return read_photograph(file)
    except PictureError:
        return None


def _read_exposure(file: Path) -> Exposure | None:
    try:
        return read_exposure(read_tags(file))
    except PictureError:
        return None


def _find_damage(file: Path) -> str | None:
    try:
        make_thumbnail(file, _CHECK_PIXELS)
    except BeamfallError as error:
        return str(error)
    return None

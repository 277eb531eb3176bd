"""Reads the photographs of a search by measuring them: `beamfall.photos.measure` in the words of a search."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from beamfall.errors import PictureError, UserError
from beamfall.photos.measure import STAGES, Measured, Scene, Value, measure
from beamfall.photos.measure.series import share_offset, share_surface
from beamfall.planning.seek.answer import Answer
from beamfall.setup.rig import Rig
from beamfall.shots import ShotRecord
from beamfall.workflows.picture_scene import expect_logged, make_picture_scene
from beamfall.workflows.reading import Reading

# What a measured picture is called in a search for a collision; a crown is neither jet nor drop 2. An empty picture is
# left to a person: what is not there and what was not found look alike.
_OF_COLLISION = {
    "crown": "nothing",
    "jet": "jet",
    "before": "before",
    "contact": "contact",
    "after": "after",
}
# The same of one drop. A drop above a jet is the jet's own droplet, which a person has to say.
_OF_ONE = {"crown": "crown", "jet": "jet"}
_AS_MEASURED = {stage: stage for stage in STAGES}


@dataclass
class MeasuringReader:
    """Implements `reading.PictureReader`: one camera that does not move, so one clear surface serves all pictures, and
    one drop in the air shows how far the log's drops are from where the rig file says."""

    rig: Rig
    scene: Scene
    words: Mapping[str, str] = field(default_factory=lambda: _OF_COLLISION)
    _seen: list[Measured] = field(default_factory=list)

    @classmethod
    def make(cls, rig: Rig) -> MeasuringReader:
        """Return a reader for pictures of a rig: scale, drop and speed are what its file says."""
        words = _OF_COLLISION if len(rig.list_drops()) > 1 else _OF_ONE
        return cls(rig, make_picture_scene(rig), words)

    def read(self, path: Path, marks: Mapping[str, float], record: ShotRecord) -> Reading:
        scene = replace(
            self.scene,
            surface_row=share_surface(self._seen),
            expected=expect_logged(self.rig, record),
            drop_offset_m=share_offset(self._seen, self.scene),
            marks=dict(marks),
        )
        try:
            measured = measure(path, scene)
        except (PictureError, UserError) as error:  # damaged, or OpenCV is not installed
            return Reading(path, None, f"not sure; {error}")
        self._seen.append(measured)
        answer = make_answer(measured, self.words)
        said = describe_measured(measured, self.words)
        return Reading(path, answer, said, measured.describe())


def make_answer(measured: Measured, words: Mapping[str, str] = _OF_COLLISION) -> Answer | None:
    """Return what a measured picture is in the words of a search; None if it is not sure."""
    word = words.get(measured.stage or "")
    if word is None:
        return None
    is_umbrella = measured.stage == "after"
    since = measured.since_contact_ms
    return Answer(
        word,
        _to_m(measured.umbrella_height if is_umbrella else measured.jet_height),
        None if is_umbrella else _to_m(measured.drop_height),
        since_s=None if since is None else since.value * 1e-3,
        since_error_s=0.0 if since is None else since.error * 1e-3,
    )


def describe_logged(record: ShotRecord) -> str:
    """Return what was measured in the photograph of a logged shot; empty if nothing was, or it makes no sense."""
    try:
        return describe_measured(Measured.recall(record.picture_measured or {}))
    except (LookupError, TypeError, ValueError):
        return ""


def describe_measured(measured: Measured, words: Mapping[str, str] = _AS_MEASURED) -> str:
    """Return what was read: `after, umbrella 15.2 ± 0.3 mm wide, 2.9 ± 0.3 ms after contact (97 % sure)`.

    `words`: what each stage is called; one without a word counts as not sure.
    """
    word = words.get(measured.stage or "")
    if word is None:
        seen = f"looks like '{measured.stage}', " if measured.stage else ""
        return f"{seen}not sure{''.join(f'; {doubt}' for doubt in measured.doubts[:2])}"
    lengths = (
        ("jet {} mm", measured.jet_height),
        ("drop at {} mm", measured.drop_height),
        ("umbrella {} mm wide", measured.umbrella_diameter),
        ("crown {} mm high", measured.crown_height),
        ("crown {} mm wide", measured.crown_diameter),
    )
    parts = [
        text.format(f"{value.value:.1f} ± {value.error:.1f}")
        for text, value in lengths
        if value is not None
    ]
    since = measured.since_contact_ms
    if since is not None:
        side = "before" if since.value < 0.0 else "after"
        parts.append(f"{abs(since.value):.1f} ± {since.error:.1f} ms {side} contact")
    return f"{', '.join([word, *parts])} ({100 * measured.confidence:.0f} % sure)"


def _to_m(value: Value | None) -> float | None:
    return None if value is None or value.value <= 0.0 else value.value * 1e-3

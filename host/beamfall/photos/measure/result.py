"""What is known before a picture is measured, and what was measured in it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from beamfall.physics.expected_drop import ExpectedDrop
from beamfall.physics.liquids import WATER, Liquid

STAGES = ("nothing", "crown", "jet", "before", "contact", "after")
SURE = 0.8  # confidence from which a stage or a mark counts as read


@dataclass(frozen=True, slots=True)
class Value:
    """A length in mm or a time in ms, with its standard error."""

    value: float
    error: float

    def to_json(self) -> dict[str, float]:
        return {"value": round(self.value, 4), "error": round(self.error, 4)}


@dataclass(frozen=True, slots=True)
class Mark:
    """A place in the picture as it is shown upright: column and row in pixels, and the row's standard error."""

    column: float
    row: float
    error: float
    by_hand: bool = False


@dataclass(frozen=True)
class Scene:
    """What is known about the camera and the shot before a picture is measured; SI units. Everything may be left out.

    `scale_px_m`: pixels per metre in the plane of the drops, of a picture `scale_width_px` pixels wide (None: of each
    picture as it is). Without it `magnification` serves, with the resolution that the camera wrote into the file, or
    else with `pixel_m`, the width of a pixel of a picture in full size. `surface_row`: row of the surface over the
    picture's height, and its standard error, from other pictures of the same camera. `looks_down_deg`: the angle by
    which the camera looks down; where it is None, rings on the surface show it. `background`: a picture without
    liquid in the air. `drop_diameter_m` and `meeting_speed_m_s` (drop 2 against the jet's tip), each with its relative
    error, and `liquid` serve for the time since the contact. `expected`: where the shot's log expects each of its drops
    at the light, in the order of their openings; None for a drop whose beam edge was not seen. `drop_offset_m`: by how
    much drops of this rig are seen higher than expected, with its standard error, from other pictures. `marks` are set
    by a person, in pixels: see `MARKS`.
    """

    scale_px_m: float | None = None
    scale_width_px: int | None = None
    magnification: float | None = None
    pixel_m: float | None = None
    scale_error: float = 0.005
    looks_down_deg: float | None = None
    surface_row: tuple[float, float] | None = None
    background: Path | None = None
    drop_diameter_m: float | None = None
    drop_diameter_error: float = 0.05
    meeting_speed_m_s: float | None = None
    meeting_speed_error: float = 0.05
    liquid: Liquid = WATER
    expected: tuple[ExpectedDrop | None, ...] = ()
    drop_offset_m: tuple[float, float] | None = None
    marks: Mapping[str, float] = field(default_factory=dict)

    def find_expected(self) -> tuple[ExpectedDrop | None, ...]:
        """Where the drops are expected, moved by what other pictures have shown."""
        return tuple(one and move_expected(one, self.drop_offset_m) for one in self.expected)


def move_expected(expected: ExpectedDrop, offset_m: tuple[float, float] | None) -> ExpectedDrop:
    """The same drop, higher by what this rig's other pictures show, with that standard error; None: they do not say."""
    if offset_m is None:
        return expected
    return replace(expected, height_m=expected.height_m + offset_m[0], rig_error_m=offset_m[1])


#: Names of marks that a person may set: rows, except the two columns of the umbrella's ends.
MARKS = ("surface", "tip", "drop", "left", "right")


@dataclass(frozen=True)
class Measured:
    """What a picture shows. Heights are above the surface; None is 'not there' or 'not sure', and `doubts` says why.

    `stage` is one of `STAGES`, None if it is not sure; `confidence` is the chance that it is right. `roll_deg`: tilt
    of the horizon, counterclockwise. `looks_down`: the camera's angle in degrees, as known or as rings show it; where
    None, heights are those of a level view. `expected`: the shot's last drop, as its scene had it. `px_per_mm`
    None: no scale is known; lengths are missing, marks are there.
    """

    path: Path | None
    width: int
    height: int
    px_per_mm: float | None
    roll_deg: float
    stage: str | None
    confidence: float
    marks: Mapping[str, Mark]
    jet_height: Value | None = None
    jet_width: Value | None = None
    drop_height: Value | None = None  # of drop 2's lowest point
    drop_diameter: Value | None = None
    umbrella_diameter: Value | None = None
    umbrella_height: Value | None = None
    umbrella_thickness: Value | None = None
    crown_height: Value | None = None
    crown_diameter: Value | None = None
    since_contact_ms: Value | None = None
    drop_width_px: float | None = None
    looks_down: Value | None = None
    expected: ExpectedDrop | None = None
    doubts: tuple[str, ...] = ()

    @property
    def is_sure(self) -> bool:
        """Whether the stage may be believed without a look."""
        return self.stage is not None

    @classmethod
    def recall(cls, described: Mapping[str, Any]) -> Measured:
        """Return what `describe` had written; raises LookupError, TypeError or ValueError for anything else."""

        def value(name: str) -> Value | None:
            given = described[name]
            return None if given is None else Value(float(given["value"]), float(given["error"]))

        scale, stage = described["px_per_mm"], described["stage"]
        if stage is not None and stage not in STAGES:
            raise ValueError(f"{stage!r} is not a stage")
        lengths: dict[str, Any] = {name: value(name) for name in LENGTHS}
        made = cls(
            None, int(described["width"]), int(described["height"]), None if scale is None else float(scale),
            float(described["roll_deg"]), stage, float(described["confidence"]),
            {
                str(name): Mark(
                    float(one["column"]), float(one["row"]), float(one["error"]), bool(one["by_hand"])
                )
                for name, one in described["marks"].items()
            },
            since_contact_ms=value("since_contact_ms"),
            looks_down=value("looks_down") if "looks_down" in described else None,
            doubts=tuple(str(doubt) for doubt in described["doubts"]),
        )  # fmt: skip
        return replace(made, **lengths)

    def to_json(self) -> dict[str, Any]:
        """Plain values for programs; lengths in mm."""
        return {"file": None if self.path is None else str(self.path), **self.describe()}

    def describe(self) -> dict[str, Any]:
        """What was measured, as plain values that say nothing about the file: for the log."""
        return {
            "width": self.width,
            "height": self.height,
            "px_per_mm": None if self.px_per_mm is None else round(self.px_per_mm, 4),
            "roll_deg": round(self.roll_deg, 2),
            "looks_down": None if self.looks_down is None else self.looks_down.to_json(),
            "stage": self.stage,
            "confidence": round(self.confidence, 3),
            "marks": {
                name: {
                    "column": round(mark.column, 1),
                    "row": round(mark.row, 1),
                    "error": round(mark.error, 1),
                    "by_hand": mark.by_hand,
                }
                for name, mark in self.marks.items()
            },
            **{
                name: None if (value := getattr(self, name)) is None else value.to_json()
                for name in LENGTHS
            },
            "since_contact_ms": None
            if self.since_contact_ms is None
            else self.since_contact_ms.to_json(),
            "doubts": list(self.doubts),
        }


LENGTHS = (
    "jet_height", "jet_width", "drop_height", "drop_diameter", "umbrella_diameter", "umbrella_height",
    "umbrella_thickness", "crown_height", "crown_diameter",
)  # fmt: skip

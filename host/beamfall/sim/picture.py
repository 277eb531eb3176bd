"""What the simulated camera saw at the flash, as files. Each says that it is not a photograph."""

from __future__ import annotations

import io
import math
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from beamfall.files import write_whole
from beamfall.sim.collision import Picture
from beamfall.sim.look import Look
from beamfall.sim.model import RigModel
from beamfall.sim.rig import Splash
from beamfall.sim.scene import BELOW_MM, Scene, make_scene
from beamfall.sim.splash_surface import find_surface

if TYPE_CHECKING:
    from PIL import Image as Images


_SHEET_COLUMNS = 5
_SHEET_PIXELS = 340  # of the longer side of a picture on a sheet
NO_PHOTOGRAPH = "simulated, not a photograph"
# Height of the closest framing; the room above the liquid is _ROOM_MM plus this share of the liquid's height.
_LEAST_MM, _ROOM_MM, _ROOM_SHARE = 15.0, 4.0, 0.2


@dataclass(frozen=True)
class SimulatedPicture:
    """What the simulated camera saw; implements `beamfall.link.traits.Picture`. `taken_us`: time of day of the shot."""

    splash: Splash
    model: RigModel
    taken_us: int | None = None

    @property
    def seen(self) -> Picture | None:
        """What the first light showed; None for a black picture."""
        return self.splash.pictures[0] if self.splash.pictures else None

    @property
    def shows(self) -> str | None:
        return None if self.seen is None else self.seen.shows

    @property
    def stage_s(self) -> float | None:
        return None if self.seen is None else self.seen.stage_s

    def find_stage(self, kind: str) -> float | None:
        return None if self.seen is None else self.seen.find_stage(kind)

    @cached_property
    def scene(self) -> Scene:
        return make_scene(self.splash, self.model)

    def draw(
        self,
        path: Path,
        *,
        tell: bool = True,
        taken: datetime | None = None,
        width: int | None = None,
    ) -> None:
        if taken is None and self.taken_us is not None:
            taken = datetime.fromtimestamp(self.taken_us / 1e6)
        draw_scene(self.scene, path, describe(self.shows, self.stage_s, tell), taken, width)


@dataclass(frozen=True)
class RecalledPicture:
    """A picture made from the logged truth of a shot: implements `beamfall.link.traits.Picture`."""

    truth: Mapping[str, Any]

    @property
    def _first(self) -> Mapping[str, Any]:
        return next(iter(self.truth["pictures"]), {})

    @property
    def shows(self) -> str | None:
        return self._first.get("shows")

    @property
    def stage_s(self) -> float | None:
        stage_ms = self._first.get("stage_ms")
        return None if stage_ms is None else stage_ms * 1e-3

    def find_stage(self, kind: str) -> float | None:
        if kind == "collision":
            return self.stage_s
        since_ms = self._first.get("since_ms", {}).get(kind)
        return None if since_ms is None else since_ms * 1e-3

    def draw(
        self,
        path: Path,
        *,
        tell: bool = True,
        taken: datetime | None = None,
        width: int | None = None,
    ) -> None:
        draw_scene(
            self.truth["scene"], path, describe(self.shows, self.stage_s, tell), taken, width
        )


def describe(shows: str | None, stage_s: float | None, tell: bool = True) -> str:
    """The caption. Without `tell` it leaves out what the picture shows, for a person who has to judge it."""
    if not tell or shows is None:
        return NO_PHOTOGRAPH
    stage = ""
    if stage_s is not None:
        stage = f", {abs(stage_s) * 1e3:.2f} ms {'before' if stage_s < 0.0 else 'after'} contact"
    return f"{shows}{stage}\n{NO_PHOTOGRAPH}"


def draw_scene(
    scene: Scene,
    path: str | Path,
    words: str = NO_PHOTOGRAPH,
    taken: datetime | None = None,
    width: int | None = None,
) -> None:
    """Write a scene as a PNG or JPEG with the words in its corner, framed on the action.

    `taken` is what the camera's clock showed; `width`: pixels across. The longer side has `develop.PIXELS` at most.
    Raises UserError if the file cannot be written.
    """
    framed = frame_action(scene)
    if width is not None:
        wide, above, _ = framed["frame_mm"]
        width = math.ceil(width * max(1.0, (above + framed.get("below_mm", BELOW_MM)) / wide))
    image = _paint(framed, width)
    if not scene["lit"]:
        words = f"no light reached the camera: a black picture\n{words}"
    _write_words(image, words)
    _save(image, path, _make_exif(framed, image.height, taken))


def encode_scene(scene: Scene, words: str, pixels: int) -> bytes:
    """Return a scene as a JPEG, framed on the action, with the words in it; `pixels`: along the longer side, as in
    `draw_scene`."""
    image = _paint(frame_action(scene), pixels)
    _write_words(image, words)
    data = io.BytesIO()
    image.save(data, format="JPEG", quality=88)
    return data.getvalue()


def _paint(scene: Scene, pixels: int | None) -> Images.Image:
    from PIL import Image

    from beamfall.sim import develop

    size = develop.PIXELS if pixels is None else min(pixels, develop.PIXELS)
    return Image.fromarray(develop.render(scene, pixels=size, seed=_seed(scene)))


def draw_pictures(pictures: Sequence[SimulatedPicture], path: str | Path) -> None:
    """Write one picture alone, several as a contact sheet, numbered from 1."""
    if len(pictures) == 1:
        pictures[0].draw(Path(path))
        return
    frames = [
        (one.scene, f"shot {number}: {describe(one.shows, one.stage_s).splitlines()[0]}")
        for number, one in enumerate(pictures, 1)
    ]
    draw_sheet(frames, path, title=f"{len(frames)} shots")


def draw_sheet(frames: Sequence[tuple[Scene, str]], path: str | Path, *, title: str = "") -> None:
    """Write scenes with the words below each on one sheet, in order; raises UserError as `draw_scene` does."""
    from PIL import Image, ImageDraw

    framed = [(frame_action(scene), words) for scene, words in frames]
    images = [_paint(one, _SHEET_PIXELS) for one, _ in framed]
    columns = min(_SHEET_COLUMNS, max(1, len(frames)))
    rows = max(1, math.ceil(len(frames) / columns))
    wide = max((image.width for image in images), default=_SHEET_PIXELS)
    tall = max((image.height for image in images), default=_SHEET_PIXELS)
    gap, head, foot = 12, 44, 50
    size = (gap + columns * (wide + gap), head + rows * (tall + foot) + gap)
    sheet = Image.new("RGB", size, "white")
    pen = ImageDraw.Draw(sheet)
    heading = f"{title}  (simulated)" if title else "simulated"
    pen.text((size[0] / 2, head / 2), heading, fill="black", font=_font(20), anchor="mm")
    for index, (image, (_, words)) in enumerate(zip(images, framed, strict=True)):
        left = gap + (index % columns) * (wide + gap)
        top = head + (index // columns) * (tall + foot)
        sheet.paste(image, (left + (wide - image.width) // 2, top + (tall - image.height) // 2))
        folded = _fold(words, wide, _font(14))
        pen.text(
            (left + wide / 2, top + tall + 6),
            folded,
            fill="black",
            font=_font(14),
            anchor="ma",
            align="center",
        )
    _save(sheet, path)


def _fold(words: str, wide: float, font: Any) -> str:
    """The words on as many lines as the width takes."""
    lines = [""]
    for word in words.split():
        longer = f"{lines[-1]} {word}".strip()
        if lines[-1] and font.getlength(longer) > wide:
            lines.append(word)
        else:
            lines[-1] = longer
    return "\n".join(lines)


def frame_action(scene: Scene) -> Scene:
    """The same scene framed as closely as its liquid allows, with the proportions of its frame."""
    from beamfall.sim.liquid_shapes import find_sheet

    wide, above, dish = scene["frame_mm"]
    below = scene.get("below_mm", BELOW_MM)
    tops, sides = [0.0], [0.0]
    for column in scene["columns"]:
        x = abs(column["x_mm"])
        surface = find_surface(scene, column)
        crown = surface.crown if surface else None
        tops += [column["jet_mm"] or 0.0, crown.height + 5.0 if crown else 0.0]
        sides += [x + 5.0, x + crown.outer + 3.0 if crown else 0.0]
        sheets = [find_sheet(entry, column) for entry in column["umbrellas"]]
        tops += [sheet.top for sheet in sheets]
        sides += [x + sheet.radius for sheet in sheets]
        # A drop above the frame is not in the picture, whatever its crop.
        falling = [drop for drop in column["drops"] if drop[1] - drop[2] < above]
        tops += [drop[1] + drop[2] for drop in falling]
        sides += [abs(drop[0]) + drop[2] for drop in falling]
    tallest, top = above + below, max(tops)
    room = _ROOM_MM + _ROOM_SHARE * top
    least = max(top + room, _LEAST_MM, (max(sides) + 3.0) * 2.0 * tallest / wide - below)
    if not any(scene["columns"]) or least >= above:
        return scene
    share = (least + below) / tallest
    # Less of the foreground too, but never so little that a reflection is lost.
    under = max(min(0.7 * below, top + _ROOM_MM), below * share)
    size = (least + under) / tallest
    return {**scene, "frame_mm": [wide * size, least, dish], "below_mm": under}


def _seed(scene: Scene) -> int:
    return zlib.crc32(repr(scene["columns"]).encode())


def _font(size: float) -> Any:
    from PIL import ImageFont

    return ImageFont.load_default(size)


def _write_words(image: Images.Image, words: str) -> None:
    from PIL import ImageDraw

    size = max(9.0, 0.0125 * max(image.size))
    pen = ImageDraw.Draw(image)
    place = (image.width - 0.7 * size, image.height - 0.6 * size)
    pen.multiline_text(
        place, words, fill=(235, 238, 242), font=_font(size), anchor="rd", align="right"
    )


def _make_exif(scene: Scene, rows: int, taken: datetime | None) -> Images.Exif:
    """Tags of the Exif standard (CIPA DC-008); the resolution in the sensor's plane gives the scale."""
    from PIL import ExifTags, Image
    from PIL.TiffImagePlugin import IFDRational

    base, inner = ExifTags.Base, ExifTags.IFD.Exif
    look = Look.from_plain(scene.get("look", {}))
    exif = Image.Exif()
    exif[base.Make] = "Beamfall"
    exif[base.Model] = "simulated camera"
    exif[base.ImageDescription] = NO_PHOTOGRAPH
    tags = exif.get_ifd(inner)
    tags[base.FNumber] = IFDRational(round(10.0 * look.f_number), 10)
    tags[base.FocalLength] = IFDRational(round(10.0 * look.focal_mm), 10)
    tags[base.ISOSpeedRatings] = 100
    per_mm = rows / (scene["frame_mm"][1] + scene.get("below_mm", BELOW_MM)) / look.magnification
    resolution = IFDRational(round(1e4 * per_mm), 1000)
    tags[base.FocalPlaneXResolution] = tags[base.FocalPlaneYResolution] = resolution
    tags[base.FocalPlaneResolutionUnit] = 3  # cm
    if taken is not None:
        text = taken.strftime("%Y:%m:%d %H:%M:%S")
        exif[base.DateTime] = tags[base.DateTimeOriginal] = text
        tags[base.SubsecTimeOriginal] = f"{taken.microsecond // 1000:03d}"
    return exif


def _save(image: Images.Image, path: str | Path, exif: Images.Exif | None = None) -> None:
    more = {} if exif is None else {"exif": exif}
    with write_whole(Path(path)) as part:
        if Path(path).suffix.lower() in (".jpg", ".jpeg"):
            image.save(part, format="JPEG", quality=93, subsampling=0, **more)
        else:
            image.save(part, format="PNG", compress_level=2, **more)

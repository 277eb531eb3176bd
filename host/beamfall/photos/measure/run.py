"""From a file to `Measured`: loads, reads, sets a person's marks, and turns pixels into millimetres and time."""

from __future__ import annotations

import math
import warnings
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from beamfall.errors import PictureError, UserError
from beamfall.photos.measure.age import find_age, meeting_speed
from beamfall.photos.measure.result import MARKS, SURE, Mark, Measured, Scene, Value
from beamfall.photos.thumbnail import decode_small

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray
    from PIL import Image as Images

    from beamfall.photos.measure.edges import Outlines
    from beamfall.photos.measure.read import Reading

_PIXELS_MOST = 200_000_000
_EDGE_PX = 0.8  # standard error of an outline's place, in the pixels measured in
_WIDTH_ERROR = 0.03  # of a drop's width as measured
_MISFIT = 2.5  # standard errors that are too many
_HEAD = 0.6  # by what share the head of a rising jet may be wider than drop 2
_USUAL_DROP_M = 0.004


def measure(path: Path, scene: Scene | None = None) -> Measured:
    """Measure one picture. Raises PictureError if it cannot be read, UserError without OpenCV."""
    known = scene or Scene()
    picture, width, height, sensor_px_m = _load(path)
    background = None if known.background is None else _load(known.background)[0]
    if known.scale_px_m is None and known.magnification is not None:
        if sensor_px_m is None and known.pixel_m is not None:
            sensor_px_m = 1.0 / known.pixel_m
        if sensor_px_m is not None:
            known = replace(
                known, scale_px_m=known.magnification * sensor_px_m, scale_width_px=None
            )
    made = measure_pixels(picture, known, background=background, size=(width, height))
    return replace(made, path=path)


def measure_pixels(
    picture: NDArray[np.uint8],
    scene: Scene,
    *,
    background: NDArray[np.uint8] | None = None,
    size: tuple[int, int] | None = None,
) -> Measured:
    """Measure a picture of shape (rows, columns, 3), sRGB. `size`: width and height of the file it was shrunk from."""
    strange = [name for name in scene.marks if name not in MARKS]
    if strange:
        raise UserError(f"{strange[0]} is not a mark; the marks are {', '.join(MARKS)}")
    try:
        from beamfall.photos.measure.decide import decide
        from beamfall.photos.measure.edges import find_outlines
        from beamfall.photos.measure.read import read_shapes

        outlines = find_outlines(picture, background, scene.looks_down_deg)
    except ImportError as error:
        raise UserError(
            "measuring pictures needs OpenCV: pip install 'beamfall[pictures]'"
        ) from error
    rows, columns = picture.shape[:2]
    width, height = size or (columns, rows)
    draft = width / columns  # pixels of the file in one of the array's
    outlines = replace(outlines, shrink=outlines.shrink * draft)
    px_m = scene.scale_px_m
    if px_m is not None and scene.scale_width_px is not None:
        px_m *= width / scene.scale_width_px
    per_mm = None if px_m is None else px_m * 1e-3
    small_rows = outlines.solid.shape[0]
    angle = _find_angle(outlines, scene)
    reading = read_shapes(
        outlines,
        down_deg=None if angle is None else angle.value,
        known_surface=None
        if scene.surface_row is None
        else (scene.surface_row[0] * small_rows, scene.surface_row[1] * small_rows),
        by_hand=None
        if "surface" not in scene.marks
        else outlines.from_picture(0.5 * width, scene.marks["surface"])[1],
        per_mm=None if per_mm is None else per_mm / outlines.shrink,
        speed_m_s=scene.meeting_speed_m_s,
        drop_mm=None
        if per_mm is None or scene.drop_diameter_m is None
        else 1e3 * scene.drop_diameter_m,
    )
    if per_mm is not None:
        _doubt_size(reading, scene, per_mm / outlines.shrink)
        drop_mm = 1e3 * (scene.drop_diameter_m or _USUAL_DROP_M)
        reading = decide(
            reading,
            scene.find_expected(),
            per_mm / outlines.shrink,
            drop_mm,
            scene.drop_diameter_error,
            meeting_speed(scene)[0],
        )
    made = _describe(reading, outlines, scene, per_mm, (width, height))
    last = scene.expected[-1] if scene.expected else None
    made = replace(made, looks_down=angle, expected=last)
    return made if per_mm is None else _add_lengths(made, reading, outlines, scene, per_mm)


def _doubt_size(reading: Reading, scene: Scene, per_mm: float) -> None:
    """What is smaller than drop 2 may be a droplet that the jet has thrown off, or the jet's own head; what is larger
    and touches the jet may be an umbrella that begins."""
    drop_m, error = scene.drop_diameter_m, math.hypot(scene.drop_diameter_error, _WIDTH_ERROR)
    if drop_m is None:
        return
    wide, most, doubt = reading.drop_width, _MISFIT * error, "the jet's own droplet?"
    if reading.stage == "after" and reading.left is not None and reading.right is not None:
        wide, most, doubt = reading.right - reading.left, -_HEAD, "the jet's own head?"
    elif reading.stage not in ("before", "contact"):
        return
    larger = 0.0 if wide is None else wide / per_mm / (1e3 * drop_m) - 1.0
    if -larger > most:
        reading.confidence = min(reading.confidence, 0.7)
        reading.doubts.append(f"too small for drop 2: {doubt}")
    elif reading.stage == "contact" and reading.drop is None and larger > most:
        reading.confidence = min(reading.confidence, 0.7)
        reading.doubts.append("too large for drop 2: it may have met the jet")


def _describe(
    reading: Reading, outlines: Outlines, scene: Scene, per_mm: float | None, size: tuple[int, int]
) -> Measured:
    shrink = outlines.shrink
    sure = reading.confidence >= SURE
    doubts = list(reading.doubts)
    if not sure:
        doubts.insert(0, f"it looks most like '{reading.stage}'")
    axis = reading.axis if reading.axis is not None else 0.5 * outlines.solid.shape[1]
    marks: dict[str, Mark] = {}

    def put(name: str, column: float, row: float | None, error: float) -> None:
        if row is None:
            return
        place = outlines.to_picture(column, row)
        marks[name] = Mark(place[0], place[1], error * shrink)

    # Ends of the umbrella are columns of the upright picture at the rim's row.
    put("surface", axis, reading.surface, reading.surface_error)
    if sure:
        put("tip", axis, reading.tip, _EDGE_PX * 1.3)
        drop = reading.drop
        put("drop", axis if drop is None else drop.column, reading.lowest, _EDGE_PX * 2.0)
        if reading.left is not None and reading.right is not None:
            put("left", reading.left, reading.rim_row, _EDGE_PX)
            put("right", reading.right, reading.rim_row, _EDGE_PX)
    for name, value in scene.marks.items():
        across = name in ("left", "right")
        old = marks.get(name)
        middle = outlines.to_picture(axis, 0.0)[0]
        column = value if across else (old.column if old else middle)
        row = (old.row if old else 0.5 * size[1]) if across else value
        marks[name] = Mark(column, row, 0.5 * shrink, by_hand=True)
    return Measured(
        None, size[0], size[1], per_mm, outlines.roll_deg, reading.stage if sure else None,
        reading.confidence, marks, doubts=tuple(doubts),
        drop_width_px=None if reading.drop_width is None or not sure else reading.drop_width * shrink,
    )  # fmt: skip


def _find_angle(outlines: Outlines, scene: Scene) -> Value | None:
    if scene.looks_down_deg is not None:
        return Value(scene.looks_down_deg, 0.5)
    rings = outlines.rings
    return None if rings is None else Value(rings.down_deg, rings.down_error_deg)


def _add_lengths(
    made: Measured, reading: Reading, outlines: Outlines, scene: Scene, per_mm: float
) -> Measured:
    marks = made.marks
    tilt = math.cos(math.radians(made.roll_deg))
    # From above, what is upright looks shorter by the cosine of the camera's angle.
    angle = made.looks_down or Value(0.0, 0.0)
    short = math.cos(math.radians(angle.value))
    short_error = math.tan(math.radians(angle.value)) * math.radians(angle.error)
    small = per_mm / outlines.shrink  # upright pixels in a mm

    def height(name: str) -> Value | None:
        if name not in marks or "surface" not in marks:
            return None
        # Along the tilted axis: a row lower by the tilt is not a longer way.
        rise = (marks["surface"].row - marks[name].row) / per_mm / tilt / short
        error = math.hypot(marks["surface"].error, marks[name].error) / per_mm / short
        return Value(rise, math.hypot(error, math.hypot(scene.scale_error, short_error) * rise))

    def length(pixels: float | None, edges: float = _EDGE_PX) -> Value | None:
        if pixels is None or made.stage is None:
            return None
        size = pixels / small
        return Value(size, math.hypot(1.4 * edges / small, scene.scale_error * size))

    is_umbrella = made.stage == "after"
    diameter = None
    if "left" in marks and "right" in marks:
        left, right = marks["left"], marks["right"]
        apart = math.hypot(right.column - left.column, 0.0) / tilt / per_mm
        error = math.hypot(left.error, right.error) / per_mm
        diameter = Value(apart, math.hypot(error, scene.scale_error * apart))
    is_crown = made.stage == "crown"
    made = replace(
        made,
        jet_height=None if is_umbrella or is_crown else height("tip"),
        jet_width=length(reading.stem),
        drop_height=height("drop"),
        drop_diameter=length(reading.drop_width),
        umbrella_diameter=diameter,
        umbrella_height=height("tip") if is_umbrella else None,
        umbrella_thickness=length(reading.rim_height) if is_umbrella else None,
        crown_height=_less_far_side(height("tip"), reading.crown_width, small, angle.value)
        if is_crown
        else None,
        crown_diameter=length(reading.crown_width) if is_crown else None,
    )
    return replace(made, since_contact_ms=find_age(made, scene))


def _less_far_side(
    height: Value | None, width: float | None, per_mm: float, down_deg: float
) -> Value | None:
    """The height of a crown whose far side is the highest in the picture."""
    if height is None or width is None:
        return height
    return replace(
        height, value=height.value - 0.5 * width / per_mm * math.tan(math.radians(down_deg))
    )


def _load(path: Path) -> tuple[NDArray[Any], int, int, float | None]:
    """The picture as an array, shrunk while it is decoded where that is quick; its own width and height; pixels per
    metre on the sensor, where the file says so."""
    import numpy as np
    from PIL import Image, ImageOps

    if not path.is_file():
        what = "a folder: name the pictures in it" if path.is_dir() else "there is no such picture"
        raise PictureError(f"{path}: {what}")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # Pillow's messages are not for our users
            with Image.open(path) as image:
                width, height = image.size
                if width * height > _PIXELS_MOST or min(width, height) < 60:
                    raise PictureError(
                        f"{path.name}: {width} x {height} pixels cannot be measured; export another size"
                    )
                resolution = _read_resolution(image.getexif(), width)
                decode_small(image, 1000, path.name)
                upright = ImageOps.exif_transpose(image).convert("RGB")
    except PictureError:
        raise
    except Exception as error:  # damaged files make the decoder fail in any way it likes
        raise PictureError(f"{path.name}: damaged, or not a picture") from error
    if (upright.width > upright.height) != (width > height):
        width, height = height, width
    return np.asarray(upright), width, height, resolution


def _read_resolution(exif: Images.Exif, width: int) -> float | None:
    """FocalPlaneXResolution of the Exif standard (CIPA DC-008), for the picture's present width."""
    from PIL import ExifTags

    tags = exif.get_ifd(ExifTags.IFD.Exif)
    units = {2: 0.0254, 3: 0.01, 4: 0.001, 5: 1e-6}  # inch, cm, mm, µm
    try:
        resolution = float(tags[ExifTags.Base.FocalPlaneXResolution])
        unit = units[int(tags.get(ExifTags.Base.FocalPlaneResolutionUnit, 2))]
        whole = float(tags.get(ExifTags.Base.ExifImageWidth, width))
    except (KeyError, TypeError, ValueError, ZeroDivisionError):
        return None
    px_m = resolution / unit * (width / whole if whole > 0.0 else 1.0)
    return px_m if 1e4 < px_m < 5e6 else None

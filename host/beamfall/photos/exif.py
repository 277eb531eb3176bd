"""When a picture was taken, as the camera wrote it into the file.

Tags of the Exif standard (CIPA DC-008): DateTimeOriginal (0x9003) before DateTimeDigitized (0x9004)
before DateTime (0x0132, which editors change); SubSecTimeOriginal (0x9291) and its like give
decimals of a second. The time is the camera's own, in whatever time zone and year its clock is set to.
"""

from __future__ import annotations

import contextlib
import io
import logging
import math
import struct
import warnings
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, BinaryIO

from beamfall.errors import PictureError
from beamfall.shots.exposure import BULB, MANUAL, Exposure

# Raw files that wrap their EXIF in their own way. CR3 is an ISO base media file (ISO/IEC 14496-12); its boxes CMT1 and
# CMT2 each hold a small TIFF, IFD0 and the Exif IFD. RAF begins with its name; at byte 84 stand place and length,
# big-endian, of a whole JPEG. Both from memory, and seen in files: neither format is published by its maker.
_HEAD = 1 << 20  # CR3 keeps its metadata at the start
_RAF = b"FUJIFILMCCD-RAW"


_TIMES = (
    ("EXIF DateTimeOriginal", "EXIF SubSecTimeOriginal"),
    ("EXIF DateTimeDigitized", "EXIF SubSecTimeDigitized"),
    ("Image DateTimeOriginal", "EXIF SubSecTimeOriginal"),  # some raw formats keep it in IFD0
    ("Image DateTime", "EXIF SubSecTime"),
)
_YEARS = (1970, 2200)  # no camera's clock is set to another
_PROGRAMS = {  # ExposureProgram (0x8822); 9 is not part of the standard, and some cameras write it
    1: MANUAL, 2: "program", 3: "aperture priority", 4: "shutter priority",
    5: "automatic", 6: "automatic", 7: "automatic", 8: "automatic", 9: BULB,
}  # fmt: skip
_ISO_MOST = 65534  # 65535 means that the figure is in another tag
_READS_MOST = 20_000  # a picture with a maker's own notes takes about 5,000
_READS_BEHIND_MOST = 300  # behind the end of the file: a table of tags that does not end there
_EPOCH = datetime(1970, 1, 1)


@dataclass(frozen=True, slots=True)
class Photograph:
    """One picture. `taken_s` on the camera's clock, seconds since its 1970; it is cut to `step_s`."""

    path: Path
    taken_s: float
    step_s: float
    camera: str
    exposure_s: float | None = None
    edited: bool = False  # only DateTime was there: when the file was last changed, perhaps
    exposure: Exposure = Exposure()

    @property
    def taken(self) -> str:
        """The time as the camera shows it."""
        text = (_EPOCH + timedelta(seconds=self.taken_s)).isoformat(sep=" ")
        return text[:23] if self.step_s < 1.0 else text[:19]


def read_photograph(path: Path) -> Photograph:
    """Read the capture time of a JPEG, TIFF, HEIC, PNG, WebP or raw file.

    Raises PictureError if the file cannot be read, is not a picture, or carries no usable time.
    """
    tags = read_tags(path)
    if not tags:
        raise PictureError(f"{path.name}: no EXIF data in it: an export or an edit has removed it")
    for name, fraction in _TIMES:
        text = _text(tags.get(name))
        when = _parse(text)
        if when is None:
            continue
        decimals = "".join(c for c in _text(tags.get(fraction)) if c.isascii() and c.isdigit())[:6]
        return Photograph(
            path=path,
            taken_s=(when - _EPOCH).total_seconds() + (float(f"0.{decimals}") if decimals else 0.0),
            step_s=10.0 ** -len(decimals),
            camera=" ".join(
                dict.fromkeys(
                    part
                    for key in ("Image Make", "Image Model", "EXIF BodySerialNumber")
                    if (part := _text(tags.get(key)))
                )
            ),
            exposure_s=_ratio(tags.get("EXIF ExposureTime")),
            edited=name == "Image DateTime",
            exposure=read_exposure(tags),
        )
    found = _text(next((tags[name] for name, _ in _TIMES if name in tags), None))
    if found:
        raise PictureError(f"{path.name}: its capture time {found!r} is not valid")
    raise PictureError(f"{path.name}: its EXIF data has no capture time")


def read_exposure(tags: Mapping[str, Any]) -> Exposure:
    """Return the exposure settings among the tags of `read_tags`."""
    program = _ratio(tags.get("EXIF ExposureProgram"))
    mode = _PROGRAMS.get(int(program or 0))
    if mode is None and _ratio(tags.get("EXIF ExposureMode")) == 1.0:
        mode = MANUAL
    iso = _ratio(tags.get("EXIF ISOSpeedRatings")) or 0.0
    if iso > _ISO_MOST:
        iso = _ratio(tags.get("EXIF RecommendedExposureIndex")) or 0.0
    focal_mm = _ratio(tags.get("EXIF FocalLength"))
    return Exposure(
        time_s=_ratio(tags.get("EXIF ExposureTime")),
        aperture=_ratio(tags.get("EXIF FNumber")),
        iso=round(iso) or None,
        focal_length_m=None if focal_mm is None else focal_mm * 1e-3,
        mode=mode,
    )


def read_tags(path: Path, *, with_preview: bool = False) -> dict[str, Any]:
    """Return the tags as exifread names them; raises PictureError."""
    import exifread

    for library in ("exifread", "PIL"):  # the library's messages are not for our users
        logging.getLogger(library).setLevel(logging.CRITICAL)
    tags: dict[str, Any] = {}
    try:
        with path.open("rb") as stream:
            for part in _open_parts(stream):
                limited: Any = _Limited(part, path.name)
                found = exifread.process_file(
                    limited, details=with_preview, extract_thumbnail=with_preview
                )
                tags = {**found, **tags}
    except OSError as error:
        raise PictureError(f"{path.name}: cannot be read: {error.strerror or error}") from error
    except PictureError:
        raise
    except Exception as error:  # a damaged file makes the parser fail in any way it likes
        raise PictureError(
            f"{path.name}: damaged, or not a picture ({type(error).__name__})"
        ) from error
    return tags or _read_with_pillow(path)


def _open_parts(stream: BinaryIO) -> list[BinaryIO]:
    """Return the parts of a file that EXIF can be read from, best first; the file itself for most."""
    head = stream.read(100)
    stream.seek(0)
    if head[4:12] == b"ftypcrx ":
        return _open_boxes(stream.read(_HEAD))
    if head.startswith(_RAF) and len(head) >= 92:
        place, length = struct.unpack(">II", head[84:92])
        stream.seek(place)
        return [io.BytesIO(stream.read(min(length, 1 << 26)))]
    return [stream]


def _open_boxes(data: bytes) -> list[BinaryIO]:
    parts: list[BinaryIO] = []
    for name in (b"CMT2", b"CMT1"):
        at = data.find(name)
        if at < 4:
            continue
        (size,) = struct.unpack(">I", data[at - 4 : at])
        content = data[at + 4 : at - 4 + size]
        if content[:2] in (b"II", b"MM"):
            parts.append(io.BytesIO(content))
    return parts


class _Limited:
    """A file that may be read from so often: damaged tables of tags can refer to each other almost without end."""

    def __init__(self, inner: BinaryIO, name: str) -> None:
        self._inner = inner
        self._name = name
        self._left = _READS_MOST
        self._left_behind = _READS_BEHIND_MOST
        self.seek, self.tell = inner.seek, inner.tell

    def read(self, size: int = -1) -> bytes:
        self._left -= 1
        data = self._inner.read(size)
        if not data and size:
            self._left_behind -= 1
        if self._left < 0 or self._left_behind < 0:
            raise PictureError(f"{self._name}: damaged: its tables of tags have no end")
        return data

    def __getattr__(self, name: str) -> Any:
        return getattr(self._inner, name)


def _read_with_pillow(path: Path) -> dict[str, Any]:
    """The same tags by Pillow, which knows some files that exifread does not (WebP of some programs)."""
    from PIL import ExifTags, Image

    try:
        # Pillow's messages are not for our users; it reads each value when that is asked for.
        with warnings.catch_warnings(action="ignore"), Image.open(path) as image:
            exif = image.getexif()
            inner = exif.get_ifd(ExifTags.IFD.Exif)
            tags = {f"Image {ExifTags.TAGS.get(tag, tag)}": value for tag, value in exif.items()}
            tags |= {f"EXIF {ExifTags.TAGS.get(tag, tag)}": value for tag, value in inner.items()}
    except Exception:  # no picture at all; the caller says so
        return {}
    # The two libraries spell one family of names differently.
    return {name.replace("SubsecTime", "SubSecTime"): value for name, value in tags.items()}


def _text(tag: Any) -> str:
    value = "" if tag is None else getattr(tag, "values", tag)
    return (value.decode("latin-1") if isinstance(value, bytes) else str(value)).strip("\x00 ")


def _parse(text: str) -> datetime | None:
    # 'YYYY:MM:DD HH:MM:SS'; unknown is written as blanks or zeros.
    with contextlib.suppress(ValueError):
        when = datetime.strptime(text[:19].replace("-", ":"), "%Y:%m:%d %H:%M:%S")
        return when if _YEARS[0] <= when.year <= _YEARS[1] else None
    return None


def _ratio(tag: Any) -> float | None:
    with contextlib.suppress(AttributeError, IndexError, TypeError, ValueError, ZeroDivisionError):
        value = getattr(tag, "values", tag)
        while isinstance(value, list | tuple):
            value = value[0]
        number = float(value)
        return number if 0.0 < number < math.inf else None
    return None

"""The fuzz targets of pictures from elsewhere: their tags, a catalogue's packet, and the pictures themselves.

One input in, nothing out, an exception where something else happens than success or an error for people.
"""

from __future__ import annotations

import functools
import io
from typing import Any

from hostile_line import Script

from beamfall.errors import PictureError
from beamfall.photos.exif import read_photograph
from beamfall.photos.thumbnail import make_thumbnail
from beamfall.photos.xmp import DC, XMP, Packet
from beamfall.text import show_text


class MemoryFile(io.BytesIO):
    """What the readers use of a path, and of a file, without a disk: that would take most of the time."""

    def __init__(self, content: bytes, ending: str) -> None:
        super().__init__(content)
        self.stem, self.suffix, self.parent = "fuzz", ending, "memory"
        self.name = self.stem + ending

    def __str__(self) -> str:
        return self.name

    def open(self, mode: str) -> io.BytesIO:
        return io.BytesIO(self.getvalue())

    def read_text(self, encoding: str) -> str:
        return self.getvalue().decode(encoding)

    def is_file(self) -> bool:
        return True


@functools.cache
def pictures() -> tuple[tuple[str, bytes], ...]:
    """One small picture of each kind, with EXIF, and the wrappings that raw files have."""
    from PIL import Image

    image = Image.new("RGB", (16, 12), (90, 120, 200))
    exif = Image.Exif()
    exif[0x010F], exif[0x0110] = "Beamfall tests", "invented camera"
    exif.get_ifd(0x8769).update(
        {0x9003: "2026:05:04 10:11:12", 0x9291: "25", 0x829A: 0.002, 0x8822: 1, 0x8827: 200}
    )
    made = []
    for kind, ending in (("JPEG", ".jpg"), ("PNG", ".png"), ("WEBP", ".webp"), ("TIFF", ".tif")):
        out = io.BytesIO()
        image.save(out, kind, exif=exif)
        made.append((ending, out.getvalue()))
    jpeg, tiff = made[0][1], made[3][1]
    boxes = b"\0\0\0\x18ftypcrx \0\0\0\1crx isom"
    for name in (b"CMT1", b"CMT2"):
        boxes += (len(tiff) + 8).to_bytes(4, "big") + name + tiff
    head = (b"FUJIFILMCCD-RAW " + bytes(84))[:84]
    wrapped = head + (100).to_bytes(4, "big") + len(jpeg).to_bytes(4, "big") + bytes(8) + jpeg
    return (*made, (".cr3", boxes), (".raf", wrapped), (".nef", tiff))


def _edit_picture(data: bytes) -> MemoryFile:
    script = Script(data)
    ending, plain = script.choose(pictures())
    content = bytearray(plain)
    for _ in range(1 + script.byte() % 12):
        at = int.from_bytes(script.take(2), "big") % len(content)
        match script.byte() % 4:
            case 0:
                content[at] = script.byte()
            case 1:
                content[at : at + 4] = script.choose(
                    (bytes(4), b"\xff" * 4, b"\0\0\0\x08", b"\x7f\xff\xff\xff")
                )
            case 2:
                content[at:] = b"" if at > 8 else content[at:]
            case _:
                content[at:at] = script.take(script.byte() % 8)
    return MemoryFile(bytes(content), ending)


def fuzz_exif(data: bytes) -> None:
    """A picture's tags are read, or PictureError says why not."""
    file: Any = _edit_picture(data)
    try:
        show_text(read_photograph(file).taken)
    except PictureError as error:
        show_text(str(error))


_XMP_TEXT = """<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
<rdf:Description rdf:about="" xmlns:dc="http://purl.org/dc/elements/1.1/" xmlns:xmp="http://ns.adobe.com/xap/1.0/">
<xmp:Rating>4</xmp:Rating>
<dc:subject><rdf:Bag><rdf:li>crown</rdf:li><rdf:li>milk</rdf:li></rdf:Bag></dc:subject>
<dc:description><rdf:Alt><rdf:li xml:lang="x-default">a note</rdf:li></rdf:Alt></dc:description>
</rdf:Description></rdf:RDF></x:xmpmeta>"""


def fuzz_xmp(data: bytes) -> None:
    """A catalogue's packet is read, changed and written again, or PictureError says what is wrong."""
    script = Script(data)
    content = bytearray(_XMP_TEXT.encode())
    for _ in range(1 + script.byte() % 6):
        at = int.from_bytes(script.take(2), "big") % (len(content) or 1)
        if script.byte() % 2:
            content[at : at + script.byte() % 30] = script.choose(_XMP_PARTS)
        else:
            content[at : at + script.byte() % 3] = script.take(script.byte() % 6)
    try:
        packet = Packet.read(bytes(content), "fuzz.xmp")
    except PictureError as error:
        show_text(str(error))
        return
    packet.set(XMP, "Rating", packet.get(XMP, "Rating"))
    packet.set_list(DC, "subject", packet.items(DC, "subject"))
    packet.set_text(DC, "description", packet.get(DC, "description"))
    Packet.read(packet.write(), "fuzz.xmp")


_XMP_PARTS = (
    b"", b"<", b">", b"&lt;", b"&#x202e;", b"&#27;", b"&x;", b"<!--", b"-->", b"<![CDATA[", b"]]>", b"<?xpacket?>",
    b'<!DOCTYPE x [<!ENTITY x "y">]>', b"<rdf:li/>", b"<rdf:Bag>", b"</rdf:Bag>", b'rdf:parseType="Resource"',
    b'xmlns:xmp="urn:other"', b'xmp:Rating="9"', b"<dc:subject>", b"\xff\xfe", b"\x00", b"\xf0\x9f\x92\xa7",
)  # fmt: skip


def fuzz_picture(data: bytes) -> None:
    """A picture is drawn small, or PictureError says why not."""
    file: Any = _edit_picture(data)
    try:
        make_thumbnail(file, 8)
    except PictureError as error:
        show_text(str(error))

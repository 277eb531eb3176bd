"""XMP: the packet that photo catalogues read, in a sidecar file or inside a JPEG (ISO 16684-1).

lxml reads and writes it: it keeps what other programs have put into a packet, prefixes and order included, which
libraries for RDF graphs do not, and unlike bindings to exempi it needs nothing but its own wheel. What we write in our
own namespace is listed in NAMESPACE.md beside this file.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, Self

from beamfall.errors import PictureError
from beamfall.text import show_text

#: Our namespace. A UUID of our own (RFC 9562), since the project has no domain.
OURS = "urn:uuid:6f0c2d0e-5b7a-4c56-9a53-1d8f0be1c7a4#"
DC = "http://purl.org/dc/elements/1.1/"
XMP = "http://ns.adobe.com/xap/1.0/"
_RDF = "http://www.w3.org/1999/02/22-rdf-syntax-ns#"
_META = "adobe:ns:meta/"
_LANG = "{http://www.w3.org/XML/1998/namespace}lang"
_PREFIXES = {"x": _META, "rdf": _RDF, "dc": DC, "xmp": XMP, "beamfall": OURS}
_BYTES_MOST = 16 << 20  # more than any catalogue writes
_HEAD_MOST = 4 << 20  # of a JPEG before the picture itself: where a packet is
_ITEMS_MOST, _LETTERS_MOST = 1000, 10_000  # of a list, of one text: they go into the log
_HEAD = b"http://ns.adobe.com/xap/1.0/\x00"  # of the JPEG segment: XMP part 3, 1.1.3
_SEGMENT_MOST = 0xFFFF - 2


class Packet:
    """One packet. What is not changed through it stays as it is."""

    def __init__(self, root: Any) -> None:
        self._root = root

    @classmethod
    def make(cls) -> Self:
        """Return an empty packet."""
        from lxml import etree

        root = etree.Element(f"{{{_META}}}xmpmeta", nsmap={"x": _META})
        rdf = etree.SubElement(root, f"{{{_RDF}}}RDF", nsmap={"rdf": _RDF})
        etree.SubElement(rdf, f"{{{_RDF}}}Description", {f"{{{_RDF}}}about": ""})
        return cls(root)

    @classmethod
    def read(cls, content: bytes, name: str) -> Self:
        """Read a packet; raises PictureError, which calls it `name`."""
        from lxml import etree

        if len(content) > _BYTES_MOST:
            raise PictureError(f"{name}: {len(content)} bytes are too many for XMP")
        parser = etree.XMLParser(resolve_entities=False, no_network=True, remove_blank_text=True)
        try:
            root = etree.fromstring(content, parser)
        except (etree.XMLSyntaxError, ValueError) as error:
            raise PictureError(f"{name}: damaged, or not XMP ({show_text(error)})") from error
        packet = cls(root)
        if next(packet._blocks, None) is None:
            raise PictureError(f"{name}: there is no XMP in it")
        words = packet.items(DC, "subject")
        texts = (*words, packet.get(DC, "description") or "", packet.get(XMP, "Rating") or "")
        if len(words) > _ITEMS_MOST or max(map(len, texts)) > _LETTERS_MOST:
            raise PictureError(
                f"{name}: over {_ITEMS_MOST} keywords, or a text of over {_LETTERS_MOST} letters: "
                "shorten it in the program that wrote it"
            )
        return packet

    def write(self) -> bytes:
        """Return the packet as bytes in UTF-8."""
        from lxml import etree

        etree.cleanup_namespaces(self._root, keep_ns_prefixes=list(_PREFIXES))
        body: bytes = etree.tostring(self._root, encoding="utf-8", pretty_print=True)
        start = '<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>\n'.encode()
        return start + body + b'<?xpacket end="w"?>\n'

    # -- reading -----------------------------------------------------------------------------------------------
    def get(self, namespace: str, name: str) -> str | None:
        """Return a simple property, or the default text of an alternative; None if it is not there."""
        key = f"{{{namespace}}}{name}"
        for block in self._blocks:
            if (attribute := block.get(key)) is not None:
                return str(attribute)
            element = block.find(key)
            if element is not None:
                items = element.findall(f".//{{{_RDF}}}li")
                return str((items[0] if items else element).text or "")
        return None

    def items(self, namespace: str, name: str) -> list[str]:
        """Return the items of an array; empty if it is not there."""
        key = f"{{{namespace}}}{name}"
        found = [element for block in self._blocks for element in block.findall(key)]
        return [str(item.text or "") for one in found for item in one.iter(f"{{{_RDF}}}li")]

    @property
    def _blocks(self) -> Iterator[Any]:
        return self._root.iter(f"{{{_RDF}}}Description")  # type: ignore[no-any-return]

    # -- changing ----------------------------------------------------------------------------------------------
    def set(self, namespace: str, name: str, value: str | None) -> None:
        """Set a simple property; None removes it."""
        self._remove(namespace, name)
        if value is not None:
            self._add(namespace, name).text = _safe(value)

    def set_text(self, namespace: str, name: str, value: str | None) -> None:
        """Set a text that could be in several languages; None removes it."""
        self._remove(namespace, name)
        if value is not None:
            self._fill(namespace, name, "Alt", (value,))[0].set(_LANG, "x-default")

    def set_list(self, namespace: str, name: str, values: Sequence[str]) -> None:
        """Set an unordered array; an empty one is removed."""
        self._remove(namespace, name)
        if values:
            self._fill(namespace, name, "Bag", values)

    def _fill(self, namespace: str, name: str, kind: str, values: Sequence[str]) -> list[Any]:
        from lxml import etree

        array = etree.SubElement(self._add(namespace, name), f"{{{_RDF}}}{kind}")
        items = [etree.SubElement(array, f"{{{_RDF}}}li") for _ in values]
        for item, value in zip(items, values, strict=True):
            item.text = _safe(value)
        return items

    def _add(self, namespace: str, name: str) -> Any:
        from lxml import etree

        prefix = {one: uri for one, uri in _PREFIXES.items() if uri == namespace}
        return etree.SubElement(next(self._blocks), f"{{{namespace}}}{name}", nsmap=prefix)

    def _remove(self, namespace: str, name: str) -> None:
        key = f"{{{namespace}}}{name}"
        for block in list(self._blocks):
            block.attrib.pop(key, None)
            for element in block.findall(key):
                block.remove(element)


def _safe(text: str) -> str:
    """Text that XML can hold: control characters are shown as symbols."""
    return show_text(text, keep_lines=True)


# -- where a packet is -----------------------------------------------------------------------------------------
def find_sidecar(picture: Path) -> Path:
    """Return the sidecar of a picture: one that is there, else where a new one goes.

    Programs differ (from memory): `NAME.xmp` beside a raw file, or `NAME.JPG.xmp` beside any. Both are looked for; a
    new one of a raw file is the former, of others the latter, so that a raw file and its JPEG do not share one.
    """
    long = picture.with_name(f"{picture.name}.xmp")
    short = picture.with_suffix(".xmp")
    for one in (long, short):
        if one.exists():
            return one
    return short if picture.suffix.lower() not in (".jpg", ".jpeg") else long


def read_file(file: Path) -> Packet | None:
    """Read a sidecar; None if there is none. Raises PictureError."""
    try:
        if file.stat().st_size > _BYTES_MOST:
            raise PictureError(f"{file.name}: too large for XMP")
        content = file.read_bytes()
    except FileNotFoundError:
        return None
    except OSError as error:
        raise PictureError(f"{file.name}: cannot be read: {error.strerror or error}") from error
    return Packet.read(content, file.name)


def read_embedded(picture: Path) -> Packet | None:
    """Read the packet inside a JPEG; None if there is none, or the file is no JPEG. Raises PictureError."""
    try:
        with picture.open("rb") as stream:
            content = stream.read(_HEAD_MOST)
    except OSError as error:
        raise PictureError(f"{picture.name}: cannot be read: {error.strerror or error}") from error
    found = _find_segment(content)
    if found is None:
        return None
    start, end = found
    return Packet.read(content[start + 4 + len(_HEAD) : end], picture.name)


def embed(packet: Packet, jpeg: bytes, name: str) -> bytes:
    """Return a JPEG with the packet in it; its pixels and all else stay bit for bit.

    Raises PictureError if it is not a JPEG, or the packet is too long for one segment.
    """
    body = _HEAD + packet.write()
    if not jpeg.startswith(b"\xff\xd8"):
        raise PictureError(f"{name}: XMP can be embedded into JPEG files only; use a sidecar")
    if len(body) > _SEGMENT_MOST:
        raise PictureError(f"{name}: its XMP is too long to be embedded; use a sidecar")
    segment = b"\xff\xe1" + (len(body) + 2).to_bytes(2, "big") + body
    found = _find_segment(jpeg)
    if found is not None:
        return jpeg[: found[0]] + segment + jpeg[found[1] :]
    place = 2
    for start, end, marker in _list_segments(jpeg):
        if marker in (0xE0, 0xE1) and start == place:  # JFIF and EXIF come first
            place = end
    return jpeg[:place] + segment + jpeg[place:]


def _find_segment(jpeg: bytes) -> tuple[int, int] | None:
    for start, end, marker in _list_segments(jpeg):
        if marker == 0xE1 and jpeg.startswith(_HEAD, start + 4):
            return start, end
    return None


def _list_segments(jpeg: bytes) -> Iterator[tuple[int, int, int]]:
    """Start, end and marker of each segment before the picture itself (ITU-T T.81, B.1.1)."""
    if not jpeg.startswith(b"\xff\xd8"):
        return
    place = 2
    while place + 4 <= len(jpeg) and jpeg[place] == 0xFF and jpeg[place + 1] != 0xDA:
        length = int.from_bytes(jpeg[place + 2 : place + 4], "big")
        end = place + 2 + length
        if length < 2 or end > len(jpeg):
            return
        yield place, end, jpeg[place + 1]
        place = end

"""A schematic sheet that knows what it draws: parts, wires and net names are kept beside the picture.

`compare` then follows the drawn wires and says where the picture and the netlist disagree: a drawing cannot
show a connection
that does not exist, nor leave one out. Wires join where one ends on the other; wires that only cross do not.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from circuit.netlist import GROUND, Circuit

Point = tuple[float, float]
_NEAR = 0.02
_INCH_PER_UNIT = 0.46


def elements() -> Any:
    """schemdraw's elements; untyped, so they come as Any."""
    import schemdraw.elements

    return schemdraw.elements


@dataclass
class Sheet:
    """One sheet under construction.

    circuit: the netlist. title: printed above. labels: other references to print beside a part's own (blocks
    that exist three
    times are drawn once).
    """

    circuit: Circuit
    title: str
    name: str
    labels: Mapping[str, str] = field(default_factory=dict)
    pins: list[tuple[Point, str, str]] = field(default_factory=list)
    wires: list[tuple[Point, Point]] = field(default_factory=list)
    tags: list[tuple[Point, str]] = field(default_factory=list)

    def __post_init__(self) -> None:
        import matplotlib
        import schemdraw

        matplotlib.use("Agg")
        matplotlib.rcParams["svg.hashsalt"] = "beamfall"
        schemdraw.use("matplotlib")
        self.drawing: Any = schemdraw.Drawing(show=False)
        self.drawing.config(
            fontsize=11, lw=1.4, font="DejaVu Sans", color="#1a1a1a", bgcolor="white"
        )

    # ------------------------------------------------------------------------------------------------- drawing
    def part(
        self,
        ref: str,
        element: Any,
        anchors: Mapping[str, str],
        *,
        text: str | None = None,
        loc: str = "top",
        **label: Any,
    ) -> Any:
        """Adds a part: `anchors` says which anchor of the element is which pin. Its reference and value are printed."""
        # Without an angle of its own an element would point where the last one did.
        if (
            element._userparams.get("theta") is None
            and "to" not in element._userparams
            and "endpts" not in element._userparams
        ):
            element = element.theta(0)
        printed = self.labels.get(ref, ref)
        value = self.circuit.part(ref).item.value
        caption = f"{printed}\n{value}" if text is None else text.format(ref=printed, value=value)
        if caption:
            element = element.label(caption, loc=loc, fontsize=9.5, **label)
        added = self.drawing.add(element)
        for pin, anchor in anchors.items():
            self.pins.append((_point(added.absanchors[anchor]), ref, pin))
        return added

    def two(
        self, ref: str, element: Any, start: Point, end: Point, pins: str = "12", **label: Any
    ) -> Any:
        """Adds a two-ended part from `start` to `end`; `pins` names the pins at them: '12', 'AK', '+-', …"""
        return self.part(
            ref, element.at(start).to(end), {pins[0]: "start", pins[1]: "end"}, **label
        )

    def box(
        self,
        ref: str,
        at: Point,
        left: Sequence[str] = (),
        right: Sequence[str] = (),
        *,
        width: float = 2.6,
        spacing: float = 1.0,
        text: str | None = None,
        names: Mapping[str, str] | None = None,
    ) -> None:
        """Adds a box (chip, socket, module); `at` is its first pin, pins run downwards. An empty name leaves a gap."""
        elm = elements()

        part = self.circuit.part(ref)
        rows = max(len(left), len(right))
        height = spacing * (rows - 1) + 1.4
        pins = []
        for side, group in (("left", left), ("right", right)):
            for slot, pin in enumerate(group, start=1):
                if not pin:
                    continue
                name = (names or {}).get(pin, part.pin_function(pin))
                number = pin if name != pin and pin.isdigit() else None
                pins.append(
                    elm.IcPin(
                        name=name,
                        pin=number,
                        side=side,
                        slot=f"{rows - slot + 1}/{rows}",
                        anchorname=f"p{pin}",
                        lblsize=9,
                        pinlblsize=8,
                    )
                )
        box = elm.Ic(pins=pins, size=(width, height), pinspacing=spacing, leadlen=0.4)
        first = next(pin for pin in (*left, *right) if pin)
        self.part(
            ref,
            box.anchor(f"p{first}").at(at),
            {pin: f"p{pin}" for pin in (*left, *right) if pin},
            text=text,
        )

    def at(self, ref: str, pin: str) -> Point:
        """Where a drawn pin is."""
        return next(point for point, r, p in self.pins if (r, p) == (ref, pin))

    def wire(self, *points: Point) -> None:
        """Adds straight wires through the points."""
        elm = elements()

        for start, end in zip(points, points[1:], strict=False):
            if start != end:
                self.drawing.add(elm.Line().at(start).to(end))
                self.wires.append((start, end))

    def dot(self, *points: Point) -> None:
        """Marks places where wires join."""
        elm = elements()

        for point in points:
            self.drawing.add(elm.Dot(radius=0.07).at(point))

    def tag(self, net: str, at: Point, side: str = "right", text: str | None = None) -> None:
        """Names the net at a point; ground gets its symbol. All places with one name are connected."""
        elm = elements()

        self.tags.append((at, net))
        if net == GROUND:
            self.drawing.add(elm.Ground().at(at))
            return
        element = (
            elm.Dot(radius=0.05, open=True)
            .at(at)
            .label(text or net, loc=side, fontsize=9, color="#0a4fa0")
        )
        self.drawing.add(element)

    def note(
        self, at: Point, text: str, *, size: float = 9, color: str = "#444444", align: str = "left"
    ) -> None:
        """Free text."""
        elm = elements()

        self.drawing.add(
            elm.Label().at(at).label(text, fontsize=size, color=color, halign=align, valign="top")
        )

    def dashed(self, start: Point, end: Point, color: str = "#b03030") -> None:
        """A dashed line that is no wire: an isolation gap."""
        elm = elements()

        self.drawing.add(elm.Line().at(start).to(end).linestyle("--").color(color))

    def save(self, folder: Path) -> list[Path]:
        """Writes <name>.svg and <name>.png."""
        import matplotlib.pyplot as plt

        figure = self.drawing.draw(show=False)
        inner, axes = figure.fig, figure.ax
        # One scale for all sheets: the texts have a fixed size and must find room.
        (left, right), (low, high) = axes.get_xlim(), axes.get_ylim()
        inner.set_size_inches((right - left) * _INCH_PER_UNIT, (high - low) * _INCH_PER_UNIT)
        axes.set_position((0, 0, 1, 1))
        axes.set_title(self.title, fontsize=13, loc="left", pad=14)
        paths = [folder / f"{self.name}.svg", folder / f"{self.name}.png"]
        inner.savefig(paths[0], bbox_inches="tight", metadata={"Date": None}, facecolor="white")
        inner.savefig(
            paths[1], bbox_inches="tight", dpi=110, metadata={"Software": None}, facecolor="white"
        )
        plt.close(inner)
        return paths

    # -------------------------------------------------------------------------------------------------- checking
    def groups(self) -> list[tuple[set[tuple[str, str]], set[str]]]:
        """The drawn connections: (part, pin) pairs and net names that the wires join."""
        points: list[Point] = [p for p, _, _ in self.pins] + [p for p, _ in self.tags]
        points += [p for wire in self.wires for p in wire]
        parent = list(range(len(points)))

        def root(n: int) -> int:
            while parent[n] != n:
                n = parent[n]
            return n

        for n, point in enumerate(points):
            for m in range(n):
                if _distance(point, points[m]) < _NEAR:
                    parent[root(n)] = root(m)
        first_wire = len(self.pins) + len(self.tags)
        for w, wire in enumerate(self.wires):
            a = first_wire + 2 * w
            parent[root(a)] = root(a + 1)
            for n, point in enumerate(points):
                if _on_wire(point, wire):
                    parent[root(n)] = root(a)
        found: dict[int, tuple[set[tuple[str, str]], set[str]]] = {}
        for n, (_, ref, pin) in enumerate(self.pins):
            found.setdefault(root(n), (set(), set()))[0].add((ref, pin))
        for n, (_, net) in enumerate(self.tags, start=len(self.pins)):
            found.setdefault(root(n), (set(), set()))[1].add(net)
        return list(found.values())


def _point(vector: Any) -> Point:
    return (round(float(vector[0]), 4), round(float(vector[1]), 4))


def _distance(a: Point, b: Point) -> float:
    return float(((a[0] - b[0]) ** 2 + (a[1] - b[1]) ** 2) ** 0.5)


def _on_wire(point: Point, wire: tuple[Point, Point]) -> bool:
    (x1, y1), (x2, y2) = wire
    length = _distance(*wire)
    along = ((point[0] - x1) * (x2 - x1) + (point[1] - y1) * (y2 - y1)) / length**2
    if not 0 <= along <= 1:
        return False
    return _distance(point, (x1 + along * (x2 - x1), y1 + along * (y2 - y1))) < _NEAR


def compare(
    sheets: Iterable[Sheet],
    circuit: Circuit,
    skip: Iterable[str] = (),
    skip_pins: Iterable[tuple[str, str]] = (),
) -> list[str]:
    """What the sheets and the netlist disagree about; empty when the drawings are true.

    skip: references that are not drawn because their block is drawn once for three; skip_pins: the same for
    single pins.
    """
    findings: list[str] = []
    skipped = set(skip)
    drawn: set[tuple[str, str]] = set(skip_pins)
    pieces: dict[str, list[bool]] = {}
    for sheet in sheets:
        for pins, names in sheet.groups():
            nets = {circuit.part(ref).pins[pin] for ref, pin in pins} | names
            drawn |= pins
            if len(nets) > 1:
                findings.append(f"{sheet.name}: joins {', '.join(sorted(nets))} at {sorted(pins)}")
            for net in nets:
                pieces.setdefault(net, []).append(bool(names))
    for part in circuit.parts:
        if part.ref in skipped:
            continue
        for pin in part.pins:
            if (part.ref, pin) not in drawn:
                findings.append(f"{part.ref} pin {pin} is not drawn")
    for net, named in pieces.items():
        if len(named) > 1 and not all(named):
            findings.append(
                f"net {net} is drawn in {len(named)} pieces, {named.count(False)} of them without its name"
            )
    return findings

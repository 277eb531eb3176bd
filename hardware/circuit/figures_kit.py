"""Wiring pictures of the first-picture kit: the board with a step's parts in colour, and what is connected."""

from __future__ import annotations

from typing import Any

from circuit.bill import in_kit
from circuit.board_file import read_board
from circuit.netlist import build_circuit

# Step: title, blocks, and what each connector leads to, with the colour of its wires.
STEPS: tuple[tuple[str, tuple[str, ...], dict[str, str]], ...] = (
    (
        "supply and switch",
        ("supply", "highside"),
        {"J1": "DC socket: + and −", "J3": "power switch"},
    ),
    ("buffer and microcontroller", ("buffer", "board"), {"M1": "USB to the computer"}),
    ("valve", ("valve1", "shunt"), {"J110": "valve: either way round"}),
    ("beam", ("receivers", "beam1", "beam2", "light1"), {"J410": "beam head: 1 A, 2 K, 3 C, 4 E"}),
    ("flash", ("flash1",), {"J210": "flash adapter: either way round"}),
)

# A wire link between the first two pads of a part that the kit leaves out: step, part, what it says.
LINKS: tuple[tuple[int, str, str], ...] = ((5, "Q210", "wire link\nK–G"),)


def draw_step(number: int) -> Any:
    """The picture of a step, from 1."""
    import matplotlib.pyplot as plt
    from matplotlib.patches import Rectangle

    title, blocks, leads = STEPS[number - 1]
    board = read_board()
    size = board.width, board.height
    circuit = build_circuit()
    kit = {part.ref: part.block for part in circuit.parts if in_kit(part)}
    earlier = {block for _, names, _ in STEPS[: number - 1] for block in names}
    figure, axes = plt.subplots(figsize=(15, 8.6))
    axes.add_patch(
        Rectangle((0, 0), *size, facecolor="#f3f6f1", edgecolor="#333333", linewidth=1.5)
    )
    axes.add_patch(Rectangle((149.2, 0), 6.4, size[1], facecolor="#f7d9d9", edgecolor="none"))
    axes.text(
        152.4,
        size[1] / 2,
        "keep empty",
        rotation=90,
        ha="center",
        va="center",
        fontsize=7,
        color="#aa3333",
    )
    for one in board.placed:
        block = kit.get(one.ref)
        new = block in blocks
        colour = "#c8501e" if new else "#7a8c99" if block in earlier else "#d5dad5"
        xs, ys = zip(*one.pads, strict=True)
        axes.add_patch(
            Rectangle(
                (min(xs) - 1.1, min(ys) - 1.1),
                max(xs) - min(xs) + 2.2,
                max(ys) - min(ys) + 2.2,
                facecolor="#ffd9c2" if new else "none",
                edgecolor=colour,
                linewidth=1.0 if new else 0.6,
            )
        )
        axes.scatter(xs, ys, s=7, color=colour, zorder=3)
        if new and one.ref.startswith("TP"):
            x, y = one.middle
            axes.text(x, y - 2.6, one.ref, fontsize=6, ha="center", va="center", zorder=4)
        elif new:
            upright = max(ys) - min(ys) > max(xs) - min(xs)
            axes.text(
                *one.middle,
                one.ref,
                fontsize=7,
                ha="center",
                va="center",
                rotation=90 if upright else 0,
                zorder=4,
            )
    for step, ref, text in LINKS:
        if step == number:
            (x1, y1), (x2, y2) = next(one.pads for one in board.placed if one.ref == ref)[:2]
            axes.plot((x1, x2), (y1, y2), color="#c8501e", linewidth=3, zorder=3)
            axes.text(x1 + 6.5, y1 - 5, text, fontsize=7, ha="center", va="center", color="#c8501e")
    where = {one.ref: one.middle for one in board.placed}
    for ref, text in leads.items():
        x, y = where[ref]
        below = ref in ("J410", "M1")
        end = (
            (x, size[1] + 9)
            if below
            else (x, -9)
            if ref == "J110"
            else (-6, y)
            if x < 60
            else (size[0] + 4, y)
        )
        side = "center" if below or ref == "J110" else "right" if x < 60 else "left"
        axes.annotate(
            f"{ref}\n{text}",
            (x, y),
            end,
            fontsize=10,
            ha=side,
            va="center",
            color="#123a7a",
            arrowprops={"arrowstyle": "-", "color": "#123a7a", "linewidth": 2},
        )
    axes.set_xlim(-42, size[0] + 46)
    axes.set_ylim(size[1] + 16, -16)
    axes.set_aspect("equal")
    axes.axis("off")
    axes.set_title(
        f"Step {number}: {title}. Orange: fit now. Grey-blue: fitted before.", fontsize=13
    )
    return figure

"""Makes STEP, STL and a picture of each printed part.

python hardware/parts/make.py            all parts, into hardware/parts/made
python hardware/parts/make.py beam_head  this one

Needs the extra `hardware` (build123d). made/SOURCES.txt says which models the files came from.
"""

from __future__ import annotations

import hashlib
import importlib
import sys
from pathlib import Path

FOLDER = Path(__file__).resolve().parent
if str(FOLDER) not in sys.path:
    sys.path.insert(0, str(FOLDER))

from dimensions import fits  # noqa: E402

PARTS = ("beam_head", "valve_bracket", "plumb_aid", "dish_level", "flash_hood", "panel_template")
MADE = FOLDER / "made"
LARGEST_MM = 3.0  # edge of a triangle in a picture


def source_digest(part: str) -> str:
    """One digest over a part's model and the dimensions."""
    digest = hashlib.sha256()
    for name in (f"{part}.py", "dimensions.py"):
        digest.update((FOLDER / name).read_bytes().replace(b"\r\n", b"\n"))
    return digest.hexdigest()[:16]


def find_stale() -> list[str]:
    """What is missing, or was made from another state of its model."""
    noted = dict(line.split() for line in (MADE / "SOURCES.txt").read_text().splitlines())
    stale = [f"{part}: remake it" for part in PARTS if noted.get(part) != source_digest(part)]
    for part in PARTS:
        stale += [
            f"{part}.{kind}: missing"
            for kind in ("step", "stl", "png")
            if not (MADE / f"{part}.{kind}").exists()
        ]
    return stale


def _split(faces):  # type: ignore[no-untyped-def]  # numpy's arrays
    """Small triangles only: they are drawn from the farthest on, and a large one has no one distance."""
    import numpy as np

    while True:
        edges = np.linalg.norm(faces - np.roll(faces, -1, axis=1), axis=2)
        large = edges.max(axis=1) > LARGEST_MM
        if not large.any():
            return faces
        some, longest = faces[large], edges[large].argmax(axis=1)
        n = np.arange(len(some))
        a, b, c = (some[n, (longest + k) % 3] for k in range(3))
        middle = (a + b) / 2
        halves = (np.stack((a, middle, c), axis=1), np.stack((middle, b, c), axis=1))
        faces = np.concatenate((faces[~large], *halves))


def _draw(solid, path: Path) -> None:  # type: ignore[no-untyped-def]  # build123d's own type
    """A picture of the part from its triangles, with its size in millimetres."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt
    import numpy as np
    from mpl_toolkits.mplot3d.art3d import Poly3DCollection

    vertices, triangles = solid.tessellate(0.1, 0.3)
    points = np.array([tuple(v) for v in vertices])
    faces = _split(points[np.array(triangles)])
    normals = np.cross(faces[:, 1] - faces[:, 0], faces[:, 2] - faces[:, 0])
    normals /= np.linalg.norm(normals, axis=1, keepdims=True) + 1e-12
    light = 0.55 + 0.45 * np.clip(normals @ (np.array([-0.4, -0.6, 0.7]) / 1.005), 0, 1)
    figure = plt.figure(figsize=(6, 4.5), dpi=110)
    axes = figure.add_subplot(projection="3d")
    axes.add_collection3d(
        Poly3DCollection(
            faces,
            facecolors=(colours := np.outer(light, [0.55, 0.7, 0.85]).clip(0, 1)),
            edgecolors=colours,
            linewidths=0.3,
        )
    )
    size = np.ptp(points, axis=0)
    for set_limits, low, high in zip(
        (axes.set_xlim, axes.set_ylim, axes.set_zlim), points.min(0), points.max(0), strict=True
    ):
        set_limits(low, high)
    axes.set_box_aspect(tuple(size))
    axes.set_axis_off()
    flat = size[2] < 0.1 * size.max()
    axes.view_init(elev=60 if flat else 28, azim=-75 if flat else -60)
    axes.set_title(
        f"{path.stem.replace('_', ' ')}: {size[0]:.0f} × {size[1]:.0f} × {size[2]:.0f} mm",
        fontsize=10,
    )
    figure.savefig(path, metadata={"Software": None})
    plt.close(figure)


def main(arguments: list[str]) -> int:
    """Command line; 0 when all is well, 1 when the dimensions do not fit."""
    wrong = fits()
    if wrong:
        print("\n".join(wrong), file=sys.stderr)
        return 1
    from build123d import export_step, export_stl

    MADE.mkdir(exist_ok=True)
    for part in arguments or PARTS:
        solid = importlib.import_module(part).build()
        export_step(solid, str(MADE / f"{part}.step"))
        export_stl(solid, str(MADE / f"{part}.stl"), tolerance=0.02, angular_tolerance=0.2)
        _draw(solid, MADE / f"{part}.png")
        print(f"{part}: made")
    (MADE / "SOURCES.txt").write_text("".join(f"{part} {source_digest(part)}\n" for part in PARTS))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

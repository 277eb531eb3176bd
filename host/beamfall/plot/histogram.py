"""How often errors of each size came."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from beamfall.plot.scene import Axis, Band, Panel, View

_FLOOR = 0.7  # below a single one, on an axis in powers of ten


def describe_histogram(
    title: str,
    label: str,
    bins: Sequence[float],
    groups: Iterable[tuple[str, str, Sequence[float]]],
) -> Panel:
    """Return a panel of each group's values (role, name, values), counted in bins between these edges."""
    import numpy as np

    xs = tuple(np.repeat(bins, 2)[1:-1].tolist())
    bands, most = [], 1.0
    for role, name, values in groups:
        counts = np.histogram(values, bins)[0]
        most = max(most, float(counts.max()))
        high = tuple(np.maximum(np.repeat(counts, 2), _FLOOR).tolist())
        bands.append(Band(role, xs, (_FLOOR,) * len(xs), high, name))
    view = View("All", (bins[0], bins[-1]), (_FLOOR, 1.5 * most))
    return Panel(title, Axis(label), Axis("pulses", log=True), (view,), tuple(bands))

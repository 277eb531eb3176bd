"""From a scene to pixels: traced light, soft where it is out of focus or moves, with noise, as sRGB."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from beamfall.sim.raytrace import Frame, Tracer

PIXELS = 1200  # of a picture's longer side
_BLURS = (0.0, 1.2, 3.5, 9.0)  # standard deviations, pixels
# Difference of light between neighbours above which a pixel is traced again, in parts.
_EDGE = 0.035
_BATCH = 24_000  # rays at a time: what fits into the processor's cache


def render(
    scene: Mapping[str, Any], *, pixels: int | None = None, seed: int = 0
) -> NDArray[np.uint8]:
    """Return the picture of a scene, shape (rows, columns, 3), sRGB.

    `pixels` counts along the longer side, `PIXELS` if None; `seed` gives the noise.
    """
    frame = Frame.of(scene, PIXELS if pixels is None else pixels)
    look = frame.look
    draws = np.random.default_rng(seed)
    shape = (frame.height, frame.width)
    if not scene["lit"]:
        light = np.full((*shape, 3), 0.0006, dtype=np.float32)
        return _to_pixels(light, look.noise, draws)
    tracer = Tracer(scene, look)
    rows, columns = np.mgrid[0 : frame.height, 0 : frame.width].astype(np.float32)
    light, depth = _trace(tracer, frame, columns.ravel() + 0.5, rows.ravel() + 0.5)
    light, depth = light.reshape(*shape, 3), depth.reshape(shape)
    _smooth_edges(tracer, frame, light)
    light = _defocus(light, depth, frame)
    _smear(light, scene, frame)
    light *= look.exposure
    light *= _vignette(frame)[:, :, None]
    return _to_pixels(light, look.noise, draws)


def _trace(tracer: Tracer, frame: Frame, columns: Any, rows: Any) -> tuple[Any, Any]:
    x, up = frame.locate(columns, rows)
    parts = [
        tracer.see(x[start : start + _BATCH], up[start : start + _BATCH])
        for start in range(0, len(x), _BATCH)
    ]
    return np.concatenate([one for one, _ in parts]), np.concatenate([one for _, one in parts])


def _smooth_edges(tracer: Tracer, frame: Frame, light: Any) -> None:
    """Trace four more rays through each pixel that differs from a neighbour."""
    grey = np.sqrt(np.clip(light.mean(axis=2), 0.0, 1.5))
    rough = np.zeros(grey.shape, dtype=bool)
    across = np.abs(np.diff(grey, axis=1)) > _EDGE
    down = np.abs(np.diff(grey, axis=0)) > _EDGE
    rough[:, 1:] |= across
    rough[:, :-1] |= across
    rough[1:] |= down
    rough[:-1] |= down
    rows, columns = np.nonzero(rough)
    if not rows.size:
        return
    total = np.zeros((rows.size, 3), dtype=np.float32)
    places = ((0.125, 0.625), (0.375, 0.125), (0.625, 0.875), (0.875, 0.375))
    for right, below in places:
        seen, _ = _trace(tracer, frame, columns + np.float32(right), rows + np.float32(below))
        total += np.minimum(seen, 2.0)
    light[rows, columns] = total / len(places)


def _defocus(light: Any, depth: Any, frame: Frame) -> Any:
    """Blur by the circle of confusion in the object's plane: |depth|·f/(N·u), u the working distance.

    What is in focus does not bleed into the blurred background behind it: only blurred pixels are mixed.
    """
    from scipy.ndimage import gaussian_filter

    look = frame.look
    distance = look.focal_mm * (1.0 + 1.0 / look.magnification)
    sigma = 0.35 * np.abs(depth) * look.focal_mm / (look.f_number * distance) * frame.per_mm
    sigma = np.minimum(sigma, _BLURS[-1])
    made = light * np.clip(1.0 - sigma / _BLURS[1], 0.0, 1.0)[:, :, None]
    for number, blur in enumerate(_BLURS[1:], 1):
        low = _BLURS[number - 1]
        high = _BLURS[number + 1] if number + 1 < len(_BLURS) else math.inf
        share = np.clip((sigma - low) / (blur - low), 0.0, 1.0)
        if math.isfinite(high):
            share = np.minimum(share, np.clip((high - sigma) / (high - blur), 0.0, 1.0))
        used = np.flatnonzero(share.any(axis=1))
        if not used.size:
            continue
        margin = math.ceil(3 * blur)
        rows = slice(max(0, used[0] - margin), min(frame.height, used[-1] + margin + 1))
        mixed = np.clip(sigma[rows] / (0.6 * blur), 0.02, 1.0).astype(np.float32)
        weight = gaussian_filter(mixed, blur, truncate=2.5, mode="nearest")
        for band in range(3):
            soft = gaussian_filter(light[rows, :, band] * mixed, blur, truncate=2.5, mode="nearest")
            made[rows, :, band] += soft / weight * share[rows]
    return made


def _smear(light: Any, scene: Mapping[str, Any], frame: Frame) -> None:
    """Smear what moves while the flash burns: an exponential tail that halves in the flash's duration."""
    from scipy.ndimage import convolve1d

    half_ms = scene.get("flash_ms", 0.0)
    for column in scene["columns"]:
        for x, y, radius, *speed in column["drops"]:
            fall = (speed[0] if speed else column["speed_m_s"]) * half_ms * frame.per_mm
            if fall < 0.2:
                continue
            tail = max(2, math.ceil(3.0 * fall))
            later = np.arange(2 * tail + 1) - tail
            kernel = np.where(later < 0, 0.0, 0.5 ** (np.maximum(later, 0) / fall))
            kernel /= kernel.sum()
            middle, row = frame.find_pixel(x, y)
            room = radius * frame.per_mm * 1.15 + 2.0 * fall + 2.0
            top, bottom = max(0, int(row - room)), min(frame.height, int(row + room))
            left, right = max(0, int(middle - room)), min(frame.width, int(middle + room))
            if top >= bottom or left >= right:
                continue
            light[top:bottom, left:right] = convolve1d(
                light[top:bottom, left:right], kernel, axis=0, mode="nearest"
            )


def _vignette(frame: Frame) -> Any:
    across = np.linspace(-1.0, 1.0, frame.width, dtype=np.float32)[None, :]
    down = np.linspace(-1.0, 1.0, frame.height, dtype=np.float32)[:, None]
    return 1.0 - 0.09 * (across**2 + down**2)


def _to_pixels(light: Any, noise: float, draws: np.random.Generator) -> NDArray[np.uint8]:
    """Noise of photons and sensor, the shoulder of a film curve, and sRGB's."""
    spread = noise * np.sqrt(np.maximum(light, 0.0) * 4.0 + 0.02)
    light = light + spread * draws.standard_normal(light.shape, dtype=np.float32)
    light = np.maximum(light, 0.0)
    light = np.where(light > 0.8, 0.8 + 0.2 * np.tanh((light - 0.8) / 0.2 * 0.6), light)
    steps = np.arange(4097) / 4096.0
    table = np.where(steps <= 0.0031308, 12.92 * steps, 1.055 * steps ** (1.0 / 2.4) - 0.055)
    table = np.round(255.0 * table).astype(np.uint8)
    made: NDArray[np.uint8] = table[np.minimum(light * 4096.0, 4096.0).astype(np.int32)]
    return made

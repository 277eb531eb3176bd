"""Printed parts: their dimensions fit one another, and what is committed comes from the models as they are."""

from __future__ import annotations

import importlib.util
import sys

import pytest
from needs import need_module


@pytest.fixture(scope="module")
def parts(hardware):
    folder = hardware / "parts"
    sys.path.insert(0, str(folder))
    spec = importlib.util.spec_from_file_location("hardware_parts", folder / "make.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    yield module
    sys.path.remove(str(folder))


def test_the_parts_fit_what_goes_into_them(parts):
    assert parts.fits() == []


def test_an_led_whose_flange_is_too_wide_is_found(parts, monkeypatch):
    import dimensions

    old = dimensions.BeamHead(flange_bore=5.0)  # a tube of 5 mm for a flange of 5.9 mm
    monkeypatch.setattr(dimensions, "BeamHead", lambda: old)
    assert any("flange" in line for line in parts.fits())


def test_committed_files_come_from_the_models_as_they_are(parts):
    assert parts.find_stale() == []


def overlap(solid, piece) -> bool:
    """Whether two solids share any volume."""
    shared = solid & piece
    return shared is not None and bool(shared.solids())


@pytest.mark.full
@pytest.mark.parametrize("name", ["beam_head", "plumb_aid"])
def test_a_part_is_one_sound_solid_and_takes_its_led(parts, name):
    need_module("build123d", "pip install 'beamfall[hardware]'")
    from build123d import Cylinder, Pos, Rot

    solid = importlib.import_module(name).build()
    assert len(solid.solids()) == 1 and solid.is_valid
    if name != "beam_head":
        return
    import dimensions

    head = dimensions.BeamHead()
    up = head.bridge_thick + head.axis_up
    led = Pos(-head.gap / 2 - 12 + 4, 0, up) * Rot(0, 90, 0) * Cylinder(dimensions.LED_BODY / 2, 8)
    flange = (
        Pos(-head.gap / 2 - 12.6, 0, up) * Rot(0, 90, 0) * Cylinder(dimensions.LED_FLANGE / 2, 1)
    )
    for piece in (led, flange):
        assert not overlap(solid, piece)
    # Light passes from mouth to mouth through the slit, and nowhere beside it.
    ray = Pos(0, 0, up) * Rot(0, 90, 0) * Cylinder(0.4, head.gap + 10)
    beside = Pos(0, 0, up + 1.5) * Rot(0, 90, 0) * Cylinder(0.4, head.gap + 10)
    assert not overlap(solid, ray)
    assert overlap(solid, beside)

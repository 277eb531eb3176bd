"""What the guide asks, in order. Each question is about one key of the rig file."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from beamfall.errors import BeamfallError
from beamfall.guide import readings
from beamfall.guide.kitchen import read_liquid
from beamfall.physics.drops import dripping_volume
from beamfall.physics.liquids import BASES
from beamfall.physics.thickeners import THICKENERS
from beamfall.planning.setting import compute_flow, make_setting
from beamfall.setup.rig import Rig
from beamfall.setup.rig_shot import KINDS

# Reads special forms; None leaves the text to the key's own rule.
Reader = Callable[[str, Rig], Any]

HAS_CAMERA = "has_camera"
NONE = "none"


@dataclass(frozen=True)
class GuideQuestion:
    """One question: `key` is its place in the rig file (valve[1].height), `shows` the measure of the drawing.

    `suggest` gives the answer of somebody who presses Enter, from the rig so far; empty if the key may be left
    out. `also` says in which other forms it may be answered.
    """

    key: str
    ask: str
    how: str
    shows: str = ""
    suggest: Callable[[Rig], str] = lambda rig: ""
    read: Reader | None = None
    also: str = ""
    options: tuple[str, ...] = ()
    only_with_camera: bool = False


def _say(text: str) -> Callable[[Rig], str]:
    return lambda rig: text


def _suggest_beam(rig: Rig) -> str:
    """Far enough below the nozzle for the drop to be free, far above the jet."""
    return f"{100.0 * 0.78 * rig.valves[0].height_m:.0f} cm"


def _suggest_opening(rig: Rig) -> str:
    """The opening that lets one drop through as this nozzle drips it."""
    setting, valve = make_setting(rig), rig.valves[0]
    try:
        volume = dripping_volume(0.5 * valve.bore_m, setting.liquid, gravity=setting.gravity)
        opening_s = compute_flow(valve, setting).find_opening(volume) + valve.lag_s
    except BeamfallError:
        return "26 ms"
    return f"{max(1.0, round(2e3 * opening_s) / 2.0):g} ms"


def _suggest_latency(rig: Rig) -> str:
    """A little longer than the opening: a drop comes free only after its valve has closed."""
    return f"{max(35.0, 1e3 * rig.valves[0].opening_s + 9.0):g} ms"


QUESTIONS = (
    GuideQuestion(
        "liquid", "Which liquid do you use?",
        f"It is used for the drops and the dish. You can name {', '.join(BASES)}, mix them with surfactant and dye, "
        f"and thicken them with {', '.join(THICKENERS)}.",
        "", _say("water"), lambda text, rig: read_liquid(text),
        "a mixture by volume: 3 water, 1 glycerol; or water with half a teaspoon of xanthan in a litre",
    ),
    GuideQuestion(
        "liquid.temperature", "How warm is the liquid?", "A kitchen thermometer in the dish will do.",
        "", _say("20 °C"),
    ),
    GuideQuestion(
        "valve[1].height", "How high is the mouth of the nozzle above the liquid?",
        "Measure from the surface of the liquid in the dish, not from the table. 40 to 70 cm gives good jets.",
        "height", _say("60 cm"),
    ),
    GuideQuestion(
        "valve[1].bore", "How wide is the hole in the nozzle?",
        "The inner diameter where the liquid leaves. Find the drill bit that just fits.",
        "bore", _say("2 mm"),
    ),
    GuideQuestion(
        "valve[1].outer_diameter", "What is the outer diameter of the nozzle, at its mouth?",
        "The rim decides the size of the drops that hang from it. Answer 'none' if you cannot measure it.",
        "outer", lambda rig: f"{round(1e3 * rig.valves[0].bore_m + 1.0, 1):g} mm",
    ),
    GuideQuestion(
        "valve[1].head", "How high is the air inlet of the bottle above the mouth of the nozzle?",
        "In a Mariotte bottle this is the lower end of the air tube. Without one, take the level of the liquid: it "
        "falls as you shoot, and the drops shrink.",
        "head", _say("10 cm"),
    ),
    GuideQuestion(
        "valve[1].opening", "For how long should the valve open for one drop?",
        "The suggestion gives a drop of the size that this nozzle releases when it drips.",
        "valve", _suggest_opening,
    ),
    GuideQuestion(
        "valve[1].latency", "How long does it take from the command until the drop leaves the nozzle?",
        "If you do not know, use the suggestion; calibrating measures it later.",
        "valve", _suggest_latency,
    ),
    GuideQuestion(
        "beam[1].height", "How high is the infrared beam above the liquid?",
        "Measure to the middle of the beam, from the surface of the liquid.",
        "beam", _suggest_beam,
    ),
    GuideQuestion(
        "dish.depth", "How deep is the liquid in the dish?",
        "A shallow dish makes low jets: 20 mm or more is good.", "depth", _say("25 mm"),
    ),
    GuideQuestion(
        "dish.diameter", "What is the inner diameter of the dish?",
        "Waves come back from the rim of a small dish. Answer 'none' if you cannot measure it.",
        "dish", _say("24 cm"),
    ),
    GuideQuestion(
        "flash[1].duration", "What power is the flash set to?",
        "Use manual mode and low power: the light is then short enough to freeze a drop. Flashes hold dangerous "
        "voltages even when they are off: never open one.",
        "flash", _say("1/64"), lambda text, rig: readings.read_power(text), "its duration (t0.5), such as 40 µs",
    ),
    GuideQuestion(
        "flash[1].recycle", "How long does the flash take before it can fire again?",
        "Its ready lamp shows when. Add a little for tired batteries.", "flash", _say("2 s"),
    ),
    GuideQuestion(
        HAS_CAMERA, "Does the controller open the camera's shutter?",
        "Answer no if you open it by hand, or have no camera yet.", "camera", _say("yes"),
        lambda text, rig: readings.read_choice(text, ("yes", "no")), options=("yes", "no"),
    ),
    GuideQuestion(
        "camera.pixel", "How wide is a pixel on the camera's sensor?",
        "If you do not know, give the width of the sensor and of its largest picture.",
        "camera", _say("4 µm"), lambda text, rig: readings.read_pixel(text), "36 mm / 6000 px", only_with_camera=True,
    ),
    GuideQuestion(
        "camera.magnification", "How large is the picture on the sensor, compared with the scene?",
        "Photograph a ruler where the drops will fall, and count the pixels that its marks cover.",
        "camera", _say("0.5"),
        lambda text, rig: readings.read_magnification(text, rig.camera.pixel_m if rig.camera else 4e-6),
        "1:2, or 40 mm over 5200 px, or 100 mm lens, 36 mm extension, or 100 mm lens at 60 cm", only_with_camera=True,
    ),
    GuideQuestion(
        "camera.aperture", "Which aperture do you use?", "A small one, f/11 to f/22, keeps the whole splash sharp.",
        "camera", _say("16"), lambda text, rig: readings.read_aperture(text), "f/16", only_with_camera=True,
    ),
    GuideQuestion(
        "aim.kind", "What should the picture show?",
        "crown: the first drop striking. cavity: the hole after it. jet: the column that rises. droplet: the jet "
        "falling back with its droplet. collision: drop 2 meeting the jet, which makes the umbrella.",
        "", _say("collision"), lambda text, rig: readings.read_aim(text),
        options=KINDS,
    ),
)  # fmt: skip

BY_KEY = {question.key: question for question in QUESTIONS}

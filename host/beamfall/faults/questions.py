"""What the person is asked, in plain words, and who answers."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from typing import Protocol

Listen = Callable[[float], None]


@dataclass(frozen=True)
class Question:
    """One question. `before` is said first, and only when the person is ready the board acts.

    `text` asks; `answers` are the possible ones with their words. No answers: `text` asks the
    person to do something, and the board sees what comes of it. `after` is said at the end.
    """

    name: str
    text: str
    answers: Mapping[str, str]
    before: str = ""
    after: str = ""
    caution: str = ""


class CannotTell(Exception):  # noqa: N818 - an answer, not an error
    """The person cannot tell, or cannot do what they are asked: no evidence is to be taken from it."""


class PersonGone(Exception):  # noqa: N818 - an end, not an error
    """Nobody is there to answer any more, such as at the end of a file that answers."""


class Person(Protocol):
    """Whoever stands beside the rig. All but `begin` and `finish` may raise CannotTell; all may raise PersonGone."""

    def begin(self, cautions: tuple[str, ...]) -> None:
        """Be told what is about to happen, and agree."""

    def prepare(self, question: Question) -> None:
        """Do what `before` says and be ready."""

    def act(self, question: Question, listen: Listen) -> None:
        """Do what `text` says, now; the board is watching.

        `listen(seconds)` takes in what the board sees for so long and shows it that this host is
        alive. Whoever waits for the person calls it again and again, from one thread at a time: a
        board that hears nothing for its time-out may end the watch, and one that cannot get rid of
        its reports forgets the oldest.
        """

    def answer(self, question: Question) -> str:
        """Answer with one of the question's answers."""

    def finish(self, question: Question) -> None:
        """Do what `after` says."""


def leave_out(caution: str, told: Collection[str]) -> str:
    """What of a caution has not been told yet."""
    for one in sorted(told, key=len, reverse=True):
        caution = caution.replace(one, "") if one else caution
    return " ".join(caution.split())


_YES_NO = {"yes": "yes", "no": "no"}

LIQUID = (
    "Keep liquid away from the board, the flash and every plug; wipe up what falls beside the dish."
)
UNPLUGGED = "Switch the supply off before you touch a plug or a wire."
STROBE = "Flashes can trigger photosensitive epilepsy: warn everybody in the room, and do not look into the flash."
CONTACTS = "Never touch the flash's contacts or open it: some carry hundreds of volts, also when switched off."
CAUTIONS = (STROBE, CONTACTS, LIQUID, UNPLUGGED)  # what everybody is told before it begins

SAW_DROP = Question(
    "saw-drop",
    "Did a drop fall?",
    {
        "yes": "yes, perhaps with a small one behind",
        "drips": "drops fall by themselves all along",
        "no": "none fell",
        "runs": "liquid runs all the time",
    },
    before="Watch the nozzle; the valve will open once, for one drop.",
    caution=LIQUID,
)
HEARD_VALVE = Question(
    "heard-valve",
    "Did you hear the valve click twice?",
    _YES_NO,
    before="Listen to the valve; it will be driven twice, a second apart.",
    caution=LIQUID,
)
FINGER = Question("finger", "Pass a dry finger through the beam three times, slowly, now.", {})
COVER = Question(
    "cover", "Lay your hand right over the beam's receiver for a second, now, and take it away.", {}
)
WIGGLE = Question(
    "wiggle",
    "Move the beam's cables gently near their plugs, now, without touching the beam's path or bare metal.",
    {},
)
BEAM_PLUG = Question(
    "beam-plug",
    "Do both plugs of the beam, emitter and receiver, sit firmly?",
    _YES_NO,
    caution=UNPLUGGED,
)
BEAM_PATH = Question(
    "beam-path",
    "Is the way between emitter and receiver free, are both lenses dry, and does the emitter glow in a phone's camera?",
    _YES_NO,
)
SAW_FLASH = Question(
    "saw-flash",
    "Did the flash fire?",
    _YES_NO,
    before="Face away from the flash and watch the wall; its contact will close once.",
    caution=STROBE,
)
SAW_FLASHES = Question(
    "saw-flashes",
    "How often did the flash fire?",
    {"twice": "twice", "once": "once", "no": "not at all"},
    before="Face away from the flash and watch the wall; its contact will close twice, a recycling time apart.",
    caution=STROBE,
)
READY_LAMP = Question("ready-lamp", "Is the flash's ready lamp lit steadily?", _YES_NO)
FLASH_BUTTON = Question(
    "flash-button",
    "Press the flash's own test button, and once more if nothing comes: did it fire?",
    _YES_NO,
    caution=f"{STROBE} {CONTACTS}",
)
SAW_WOKEN = Question(
    "saw-woken",
    "Did the flash fire this time?",
    _YES_NO,
    before="Face away from the flash and watch the wall; its contact will close once more.",
    caution=STROBE,
)
FLASH_MODE = Question(
    "flash-mode", "Is the flash set to M, manual, and not to an automatic mode?", _YES_NO
)
RESERVOIR = Question(
    "reservoir", "Is there liquid in the reservoir, above its outlet?", _YES_NO, caution=LIQUID
)
CAP = Question(
    "cap",
    "Did a drop fall?",
    _YES_NO,
    before="Open the reservoir's cap so that air gets in, then watch the nozzle; the valve will open once.",
    after="Close the cap again.",
    caution=LIQUID,
)
NOZZLE = Question(
    "nozzle",
    "Did liquid come out?",
    _YES_NO,
    before="Take the nozzle off the valve, with a container below, and watch; the valve will open once.",
    after="Put the nozzle on again.",
    caution=LIQUID,
)
VALVE_PLUG = Question(
    "valve-plug",
    "Is the valves' supply on, and does the valve's plug sit firmly at both ends?",
    _YES_NO,
    caution=UNPLUGGED,
)
COIL = Question(
    "coil",
    "Was the screwdriver drawn to the valve for a moment?",
    _YES_NO,
    before="Hold the tip of a steel screwdriver against the outside of the valve's coil, away from its "
    "terminals; the valve will be driven three times.",
    caution=f"{LIQUID} Touch no terminals; a coil that was held long is hot.",
)
BUTTON = Question("button", "Press the board's button once, now.", {})
SHUTTER = Question(
    "shutter",
    "Did the camera's shutter open?",
    _YES_NO,
    before="Listen to the camera; one whole shot will be fired.",
    caution=STROBE,
)
PICTURE = Question(
    "picture",
    "What does the picture of this shot show?",
    {
        "wanted": "the drop on the jet, spreading",
        "early": "the drop has not met the jet yet",
        "late": "all is over: rings, or a shape that falls apart",
        "missed": "drop and jet passed each other",
        "black": "nothing but black",
    },
    before="Make the camera ready; one whole shot will be fired.",
    caution=STROBE,
)

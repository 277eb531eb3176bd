"""A person beside the simulated rig, who answers questions and does what is asked, from what can be seen and heard.

This file only says which view of the room answers which question; it uses no causes or probabilities. With
`wrong_share` above 0 the person fails in that share of the questions: gives another answer, or does not do what
was asked.
"""

from __future__ import annotations

import random
from collections.abc import Callable

from beamfall.link.traits import Asked
from beamfall.sim.room import Room


class SimulatedPerson:
    """Implements `beamfall.link.traits.Helper`."""

    def __init__(
        self,
        room: Room,
        *,
        valve: int = 1,
        beam: int = 1,
        flash: int = 1,
        wrong_share: float = 0.0,
        seed: int | str = 0,
    ) -> None:
        self._room = room
        self._valve = valve
        self._wrong_share = wrong_share
        self._draws = random.Random(f"{seed}/person")
        self._is_wrong = False

        def yes(view: Callable[[], bool]) -> Callable[[], str]:
            return lambda: "yes" if view() else "no"

        def saw_drop() -> str:
            if room.liquid_runs(valve):
                return "runs"
            if room.drips_by_itself():
                return "drips"
            return "yes" if room.drops_fallen() else "no"

        def saw_flashes() -> str:
            return ("no", "once", "twice")[min(room.flashes(), 2)]

        self._views: dict[str, Callable[[], str]] = {
            "saw-drop": saw_drop,
            "heard-valve": yes(lambda: room.clicks() >= 2),
            "beam-plug": yes(lambda: room.beam_plugs_in(beam)),
            "beam-path": yes(lambda: room.beam_path_free(beam)),
            "saw-flash": yes(lambda: room.flashes() > 0),
            "saw-flashes": saw_flashes,
            "saw-woken": yes(lambda: room.flashes() > 0),
            "ready-lamp": yes(lambda: room.ready_lamp_on(flash)),
            "flash-button": yes(lambda: room.press_flash(flash)),
            "flash-mode": yes(lambda: room.flash_says_manual(flash)),
            "bottle": yes(room.liquid_in_bottle),
            "cap": yes(lambda: room.drops_fallen() > 0),
            "nozzle": yes(lambda: room.drops_fallen() > 0),
            "valve-plug": yes(lambda: room.valve_plug_in(valve)),
            "coil": yes(room.coil_pulled),
            "shutter": yes(room.shutter_opened),
            "picture": room.picture,
        }
        self._acts: dict[str, Callable[[], None]] = {
            "finger": lambda: room.pass_finger(beam),
            "cover": lambda: room.cover_receiver(beam),
            "wiggle": lambda: room.wiggle_cables(beam),
            "button": room.press_button,
        }

    def begin(self, cautions: tuple[str, ...]) -> None:
        pass

    def prepare(self, question: Asked) -> None:
        self._is_wrong = self._draws.random() < self._wrong_share
        self._room.look_away()
        self._set_up(question, True)

    def act(self, question: Asked, listen: Callable[[float], None]) -> None:
        if not self._is_wrong:
            self._acts[question.name]()

    def answer(self, question: Asked) -> str:
        true = self._views[question.name]()
        if not self._is_wrong:
            return true
        return self._draws.choice([name for name in question.answers if name != true])

    def finish(self, question: Asked) -> None:
        self._set_up(question, False)

    def _set_up(self, question: Asked, begin: bool) -> None:
        if question.name == "cap":
            self._room.open_cap(begin)
        elif question.name == "nozzle":
            self._room.take_nozzle_off(self._valve, begin)

"""The room with the simulated rig, as a person experiences it: what is seen, heard, felt and done.

Every view comes from what the rig does at its pins or from how its parts look; this file uses no causes,
tests or probabilities.
"""

from __future__ import annotations

from beamfall.setup.signals import SignalKind
from beamfall.sim.collision import see_picture
from beamfall.sim.defects import RigInRoom

_WATCHES_S = 4.0  # how long a person looks before saying that nothing drips by itself
_SPREADS_S = 0.010  # a picture later than this after the contact shows no umbrella any more


class Room:
    """What a person beside the rig can observe. `look_away` starts a new observation.

    Valves, beams and flashes are numbered by the line that they are plugged into: valve 2 is the one at valve2.
    """

    def __init__(self, rig: RigInRoom) -> None:
        self._rig = rig
        self._from = 0

    def look_away(self) -> None:
        """Forget what has been seen and heard so far."""
        self._from = len(self._rig.happenings)

    def _count(self, what: str) -> int:
        return sum(one.what == what for one in self._rig.happenings[self._from :])

    # -- seen and heard ----------------------------------------------------------------------------------------
    def drops_fallen(self) -> int:
        """Drops that fell on command since `look_away`."""
        return self._count("drop")

    def drips_by_itself(self) -> bool:
        """Whether drops have fallen without a command in the last seconds."""
        recent = self._rig.now_s - _WATCHES_S
        return any(one.what == "own-drop" and one.when_s >= recent for one in self._rig.happenings)

    def liquid_runs(self, valve: int) -> bool:
        """Whether a stream runs out of the nozzle."""
        return self._rig.streams(self._rig.find_place(SignalKind.VALVE, valve))

    def clicks(self) -> int:
        """How often a valve has clicked open since `look_away`."""
        return self._count("click")

    def flashes(self) -> int:
        """How often a flash has lit the room since `look_away`."""
        return self._count("flash")

    def shutter_opened(self) -> bool:
        """Whether the camera's shutter was heard since `look_away`."""
        return self._count("shutter") > 0

    # -- how parts look and feel -------------------------------------------------------------------------------
    def beam_plugs_in(self, beam: int) -> bool:
        """Whether both plugs of the beam are fully in."""
        return self._rig.condition.beams[self._rig.find_place(SignalKind.BEAM, beam) - 1].plug_in

    def beam_path_free(self, beam: int) -> bool:
        """Whether nothing is between emitter and receiver, the lenses are dry and the emitter glows."""
        part = self._rig.condition.beams[self._rig.find_place(SignalKind.BEAM, beam) - 1]
        return part.path_free and part.emitter_lit

    def valve_plug_in(self, valve: int) -> bool:
        """Whether the valve's plug is fully in and its supply is on."""
        part = self._rig.condition.valves[self._rig.find_place(SignalKind.VALVE, valve) - 1]
        return part.plug_in and self._rig.condition.supply.on

    def coil_pulled(self) -> bool:
        """Whether a valve's coil has attracted steel since `look_away`."""
        return self._count("coil") > 0

    def liquid_in_bottle(self) -> bool:
        """Whether there is liquid above the outlet of the bottle."""
        return self._rig.condition.bottle.filled

    def ready_lamp_on(self, flash: int) -> bool:
        """Whether the flash's ready lamp is lit: it is on, awake, and has recycled."""
        place = self._rig.find_place(SignalKind.FLASH, flash)
        part = self._rig.condition.flashes[place - 1]
        return part.powered and not part.asleep and self._rig.has_recycled(place)

    def flash_says_manual(self, flash: int) -> bool:
        """Whether the flash's dial or display says M."""
        return self._rig.condition.flashes[self._rig.find_place(SignalKind.FLASH, flash) - 1].manual

    def picture(self) -> str:
        """What the picture of the last shot shows: black, early, wanted, late or missed.

        early: the last drop has not met the jet yet; late: all is over; missed: it met none.
        """
        rig = self._rig
        splash = rig.take_splash()
        if not splash.lights or not splash.columns:
            return "early" if splash.lights else "black"
        seen = see_picture(rig.model, splash.columns[0], splash.lights[-1][1])
        if seen.shows in ("before", "jet", "nothing"):
            later = splash.columns[0].recent[-1]
            return "early" if splash.lights[-1][1] < later.impact_s else "late"
        if seen.shows == "missed":
            return "missed"
        return "wanted" if (seen.stage_s or 0.0) <= _SPREADS_S else "late"

    # -- done --------------------------------------------------------------------------------------------------
    def pass_finger(self, beam: int) -> None:
        """Pass a finger through the beam three times."""
        place = self._rig.find_place(SignalKind.BEAM, beam)
        for pass_number in range(3):
            self._rig.cover_beam(place, 0.5 + 0.8 * pass_number, 0.15, by_hand=False)

    def cover_receiver(self, beam: int) -> None:
        """Hold a hand right over the receiver for a second."""
        self._rig.cover_beam(self._rig.find_place(SignalKind.BEAM, beam), 0.5, 1.0, by_hand=True)

    def wiggle_cables(self, beam: int) -> None:
        """Move the beam's cables about for a second or two."""
        self._rig.shake_beam(self._rig.find_place(SignalKind.BEAM, beam))

    def press_button(self) -> None:
        """Press the board's button once."""
        self._rig.press_button(0.5, 0.3)

    def press_flash(self, flash: int) -> bool:
        """Press the flash's own test button, twice if it must wake first; return whether it fired."""
        return self._rig.press_flash(self._rig.find_place(SignalKind.FLASH, flash))

    def take_nozzle_off(self, valve: int, off: bool) -> None:
        """Remove the nozzle from the valve, or put it back as it was."""
        self._rig.condition.valves[
            self._rig.find_place(SignalKind.VALVE, valve) - 1
        ].nozzle_off = off

    def open_cap(self, opened: bool) -> None:
        """Open or close the cap of the bottle; opening it lets air in and ends the suction."""
        bottle = self._rig.condition.bottle
        bottle.cap_open = opened
        if opened:
            bottle.flow = 1.0

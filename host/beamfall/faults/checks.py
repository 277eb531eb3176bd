"""The tests: what the board does, what the person is asked, and which signs each test can show.

`effort` counts a short question as 1. What the board does by itself costs little, but not nothing: drops fill the dish
and flashes run down.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from beamfall.faults import evidence
from beamfall.faults.catalogue import Sign, load_catalogue
from beamfall.faults.fault_rig import FaultRig
from beamfall.faults.questions import CannotTell, Question
from beamfall.faults.setup import Setup
from beamfall.setup.signals import Signal

Outcomes = dict[str, str]
_SIGN = load_catalogue().signs
_ASK = load_catalogue().questions
_REST_S = 3.0
_LINE_S = 8.0
_DROPS = 6
_WIGGLE_S = 3.0
_FLICKERS = 4  # edges within _WIGGLE_S
_LOOK_S = 1.2  # after a flash: for a drop to reach the beam


@dataclass(frozen=True)
class Check:
    """One test. `run` returns an outcome for each sign that could be read.

    `parts` the setup must have; `needs`: outcomes of earlier tests without which it makes no sense;
    `answered`: outcomes of earlier tests by which the board has seen the answer itself; `spoils`: tests that mean
    nothing any more once this one was made; `rests`: the flash has its rest before it, so that nobody who is ready
    waits for that.
    """

    name: str
    what: str
    signs: tuple[Sign, ...]
    effort: float
    run: Callable[[FaultRig], Outcomes]
    question: Question | None = None
    parts: tuple[str, ...] = ()
    needs: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    answered: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    spoils: tuple[str, ...] = ()
    rests: bool = False

    def say_what_begins(self) -> str:
        """What is about to be done, for the waiting user."""
        return f"{self.what}; the flash rests first" if self.rests else self.what

    def suits(self, setup: Setup, *, has_light: bool, has_button: bool) -> bool:
        """Whether the setup has the parts that the test looks at."""
        has = {
            "beam": setup.beam is not None,
            "flash": setup.flash is not None,
            "camera": setup.has_camera,
            "light": has_light,
            "button": has_button,
            "timings": setup.sets_delay or setup.sets_window,
        }
        return all(has[part] for part in self.parts)


# -- by the board alone ----------------------------------------------------------------------------------------
def _look_at_settings(bench: FaultRig) -> Outcomes:
    setup = bench.setup
    seen: Outcomes = {}
    flash = setup.sequence.flash_row()
    if setup.sets_delay and setup.delay_s is not None and flash is not None:
        seen["setting-delay"] = evidence.judge_delay(flash.delay_s, setup.delay_s)
    expected = setup.expected
    if setup.sets_window and expected is not None:
        opens = [row.delay_s for row in setup.sequence.rows if row.output == setup.valve.output]
        last = max(opens) + expected.middle_s
        seen["setting-window"] = "short" if setup.sequence.window_s < last else "enough"
    return seen


def _hold_line(bench: FaultRig) -> Outcomes:
    before = bench.board.counters.frames_bad_total

    def listen() -> bool:
        end = bench.board.transport.clock() + _LINE_S
        while bench.board.transport.clock() < end:
            bench.board.sleep(0.5)
            bench.board.status()
        return True

    bench.attempt(listen)
    bench.look_back()
    if bench.lost:
        return {"line": "lost"}
    if bench.restarted:
        return {}  # a board that restarts takes its port along, so that nothing is known about the line
    damaged = bench.board.counters.frames_bad_total > before
    return {"line": "damaged" if damaged else "steady"}


def _rest(bench: FaultRig) -> Outcomes:
    def look() -> str:
        dark = bench.is_dark()
        edges = bench.beam_edges(bench.watch(_REST_S))
        return evidence.judge_rest(
            bench.pulses(edges, dark=dark),
            bench.setup.expected,
            dark=dark,
            changed=bool(edges),
            dark_share=bench.dark_share(edges, dark=dark, seconds=_REST_S),
        )

    return _only("rest", bench.attempt(look))


def _read_troubles(bench: FaultRig) -> Outcomes:
    bench.attempt(lambda: bench.board.pump(0.05))
    spoke = any(one.about is Signal.button1 for one in bench.board.troubles)
    return {"button-spoke": "spoke" if spoke else "silent"}


def _drip(bench: FaultRig) -> Outcomes:
    def fall() -> Outcomes:
        has_beam = bench.setup.beam is not None
        dark = has_beam and bench.is_dark()
        outcome = bench.drip()
        seen: Outcomes = {}
        for readings in outcome.readings[:1]:
            seen.update(evidence.judge_coil(readings))
        if bench.sees_light:
            seen["drip-light"] = "lit" if bench.lights(outcome.edges) else "none"
        if has_beam:
            pulses = bench.pulses(outcome.edges, dark=dark)
            early, later = evidence.split_opening(pulses, bench.setup.valve.opening_s)
            seen["drip-opening"] = "pulse" if early else "quiet"
            counted = evidence.leave_out_uncounted(
                later,
                bench.setup.expected,
                blanking_s=bench.setup.sequence.blanking_s,
                dwell_s=bench.setup.sequence.dwell_s,
            )
            seen["drip-beam"] = evidence.judge_drip(counted, bench.setup.expected)
        return seen

    seen = bench.attempt(fall) or {}
    bench.look_back()
    if seen or bench.restarted:
        seen["restarts"] = "restarted" if bench.restarted else "stays"
    return seen


def _repeat(bench: FaultRig) -> Outcomes:
    def fall() -> float | None:
        dark = bench.is_dark()
        pulses = bench.pulses(bench.drip().edges, dark=dark)
        _, later = evidence.split_opening(pulses, bench.setup.valve.opening_s)
        main = evidence.find_main(later, bench.setup.expected)
        return None if main is None else main.length_s

    tries = [bench.attempt(lambda: (fall(),)) for _ in range(_DROPS)]
    bench.look_back()
    dwells = [done[0] for done in tries if done is not None]
    seen: Outcomes = {}
    if dwells or bench.restarted:
        seen["restarts"] = "restarted" if bench.restarted else "stays"
    if len(dwells) == _DROPS:
        seen["repeat"] = evidence.judge_repeat(dwells)
    return seen


def _two_flashes(bench: FaultRig) -> Outcomes:
    setup = bench.setup
    flash = setup.flash
    assert flash is not None  # the check suits only setups with a flash

    def fire() -> Outcomes:
        first = bench.lights(bench.flash().edges)
        began = bench.board.transport.clock()
        seen: Outcomes = {}
        if setup.beam is not None:
            edges = bench.beam_edges(bench.watch(_LOOK_S))
            seen["flash-drop"] = "edges" if edges else "quiet"
        second = bench.lights(bench.flash_soon(began).edges)
        seen["flash-light"] = evidence.judge_lights((bool(first), bool(second)))
        lengths = [pulse.length_s for pulse in (*first, *second)]
        length = evidence.judge_length(lengths, flash.duration_s)
        return seen if length is None else {**seen, "flash-length": length}

    return bench.attempt(fire) or {}


def _shot(bench: FaultRig) -> Outcomes:
    def fire() -> Outcomes:
        outcome, end = bench.shoot()
        seen = {"shot-end": end}
        if outcome is not None and end == "fired" and bench.sees_light and bench.setup.flash:
            seen["shot-light"] = "lit" if bench.lights(outcome.edges) else "dark"
        return seen

    return bench.attempt(fire) or {}


def _flash_again(bench: FaultRig) -> Outcomes:
    lit = bench.attempt(lambda: bench.lights(bench.flash().edges))
    return {} if lit is None else {"flash-woken": "lit" if lit else "dark"}


# -- with the person -------------------------------------------------------------------------------------------
def _answer(
    question: Question, do: Callable[[FaultRig], object] | None = None
) -> Callable[[FaultRig], Outcomes]:
    """A test whose outcome is the person's answer, after the board has done something."""

    def run(bench: FaultRig) -> Outcomes:
        bench.person.prepare(question)
        try:
            done = True if do is None else bench.attempt(lambda: do(bench) is not False)
            # Nothing was done, so there is nothing to ask
            given = bench.ask(question) if done else None
        except CannotTell:
            bench.person.finish(question)
            raise
        bench.person.finish(question)
        return _only(question.name, given)

    return run


def _flash_twice(bench: FaultRig) -> None:
    bench.flash()
    bench.flash_soon(bench.board.transport.clock())


def _fire_for_picture(bench: FaultRig) -> bool:
    return bench.shoot()[1] == "fired"


def _drip_times(times: int) -> Callable[[FaultRig], object]:
    def run(bench: FaultRig) -> None:
        for _ in range(times):
            bench.drip()

    return run


def _press_flash(bench: FaultRig) -> Outcomes:
    seen = _answer(_ASK["flash-button"])(bench)
    bench.note_flash()
    return seen


def _finger(bench: FaultRig) -> Outcomes:
    def look() -> str:
        dark = bench.is_dark()
        edges = bench.watch(3.5, bench.have_done(_ASK["finger"]))
        return evidence.judge_finger(bench.pulses(edges, dark=dark))

    bench.person.prepare(_ASK["finger"])
    return _only("finger", bench.attempt(look))


def _cover(bench: FaultRig) -> Outcomes:
    def look() -> str:
        dark = bench.is_dark()
        edges = bench.watch(2.5, bench.have_done(_ASK["cover"]))
        long = [p for p in bench.pulses(edges, dark=dark) if p.length_s > 0.1]
        return "changes" if long else "no-change"

    bench.person.prepare(_ASK["cover"])
    return _only("cover", bench.attempt(look))


def _wiggle(bench: FaultRig) -> Outcomes:
    def look() -> str:
        dark = bench.is_dark()
        edges = bench.beam_edges(bench.watch(_WIGGLE_S, bench.have_done(_ASK["wiggle"])))
        ticks = [edge.ticks for edge in edges]
        # Count only within a short time, however long the person took: otherwise chance events would add up.
        most = evidence.count_densest(ticks, round(_WIGGLE_S * bench.hz))
        drops = evidence.are_drops(bench.pulses(edges, dark=dark), bench.setup.expected)
        return "edges" if most >= _FLICKERS and not drops else "quiet"

    bench.person.prepare(_ASK["wiggle"])
    return _only("wiggle", bench.attempt(look))


def _button(bench: FaultRig) -> Outcomes:
    def look() -> str:
        told = len(bench.board.troubles)
        edges = bench.watch(2.0, bench.have_done(_ASK["button"]))
        said = any(one.about is Signal.button1 for one in bench.board.troubles[told:])
        pressed = any(edge.signal is Signal.button1 for edge in edges)
        return "seen" if said or pressed else "none"

    bench.person.prepare(_ASK["button"])
    return _only("button", bench.attempt(look))


def _only(sign: str, outcome: str | None) -> Outcomes:
    return {} if outcome is None else {sign: outcome}


# If the sensor saw light, there was light: no need to ask.
_LIT = {"flash-light": ("both", "first-only", "second-only")}

CONNECT = Check("connect", "check the connection", (_SIGN["connection"],), 0.0, lambda bench: {})

CHECKS: tuple[Check, ...] = (
    Check("settings", "compare the settings with the plan", (_SIGN["setting-delay"], _SIGN["setting-window"]),
         0.02, _look_at_settings, parts=("timings",)),
    Check("troubles", "read what the board reports", (_SIGN["button-spoke"],), 0.02, _read_troubles,
         parts=("button",)),
    Check("rest", "watch the beam at rest", (_SIGN["rest"],), 0.05, _rest, parts=("beam",)),
    Check("drip", "release one drop",
         (_SIGN["drip-beam"], _SIGN["drip-opening"], _SIGN["drip-light"], _SIGN["restarts"], _SIGN["drip-coil"],
          _SIGN["drip-supply"]), 0.1, _drip),
    Check("two-flashes", "close the flash's contact twice, one recycling time apart",
         (_SIGN["flash-light"], _SIGN["flash-length"], _SIGN["flash-drop"]), 0.1, _two_flashes,
         parts=("flash", "light"), rests=True),
    Check("line", "check USB for a while", (_SIGN["line"],), 0.15, _hold_line),
    Check("repeat", "release six drops in a row", (_SIGN["repeat"], _SIGN["restarts"]), 0.3, _repeat, parts=("beam",)),
    Check("shot", "fire one whole shot", (_SIGN["shot-end"], _SIGN["shot-light"]), 0.3, _shot),
    Check("flash-woken", "close the flash's contact once more", (_SIGN["flash-woken"],), 0.1, _flash_again,
         parts=("flash", "light"), needs={"flash-button": ("yes",)}, rests=True),
    Check("saw-drop", "whether a drop fell", (_SIGN["saw-drop"],), 1.0, _answer(_ASK["saw-drop"], FaultRig.drip),
         _ASK["saw-drop"]),
    Check("heard-valve", "whether the valve clicked", (_SIGN["heard-valve"],), 1.0,
         _answer(_ASK["heard-valve"], _drip_times(2)), _ASK["heard-valve"], answered={"drip-coil": ("moved", "none")}),
    Check("finger", "a finger through the beam", (_SIGN["finger"],), 1.0, _finger, _ASK["finger"], parts=("beam",)),
    Check("cover", "a hand over the receiver", (_SIGN["cover"],), 1.0, _cover, _ASK["cover"], parts=("beam",)),
    Check("wiggle", "the beam's cables moved", (_SIGN["wiggle"],), 1.2, _wiggle, _ASK["wiggle"], parts=("beam",)),
    Check("beam-plug", "the beam's plugs", (_SIGN["beam-plug"],), 1.5, _answer(_ASK["beam-plug"]),
         _ASK["beam-plug"], parts=("beam",)),
    Check("beam-path", "the beam's path", (_SIGN["beam-path"],), 1.5, _answer(_ASK["beam-path"]),
         _ASK["beam-path"], parts=("beam",)),
    Check("saw-flash", "whether the flash fired", (_SIGN["saw-flash"],), 1.0,
         _answer(_ASK["saw-flash"], FaultRig.flash), _ASK["saw-flash"], parts=("flash",), answered=_LIT, rests=True),
    Check("saw-flashes", "how often the flash fired", (_SIGN["saw-flashes"],), 1.1,
         _answer(_ASK["saw-flashes"], _flash_twice), _ASK["saw-flashes"], parts=("flash",), answered=_LIT, rests=True),
    Check("ready-lamp", "the flash's lamp", (_SIGN["ready-lamp"],), 1.0,
         _answer(_ASK["ready-lamp"]), _ASK["ready-lamp"], parts=("flash",), rests=True),
    Check("flash-button", "the flash's own button", (_SIGN["flash-button"],), 1.2, _press_flash,
         _ASK["flash-button"], parts=("flash",),
         spoils=("two-flashes", "saw-flash", "saw-flashes", "ready-lamp", "shot", "picture"), rests=True),
    Check("saw-woken", "whether the flash responds now that it is awake", (_SIGN["saw-woken"],), 1.0,
         _answer(_ASK["saw-woken"], FaultRig.flash), _ASK["saw-woken"], parts=("flash",),
         needs={"flash-button": ("yes",)}, answered={"flash-woken": ("lit",)}, rests=True),
    Check("flash-mode", "the flash's mode", (_SIGN["flash-mode"],), 1.0, _answer(_ASK["flash-mode"]),
         _ASK["flash-mode"], parts=("flash",)),
    Check("bottle", "the bottle", (_SIGN["bottle"],), 1.0, _answer(_ASK["bottle"]),
         _ASK["bottle"]),
    Check("cap", "release one drop with the bottle open", (_SIGN["cap"],), 1.8, _answer(_ASK["cap"], FaultRig.drip),
         _ASK["cap"]),
    Check("nozzle", "open the valve with its nozzle removed", (_SIGN["nozzle"],), 2.0,
         _answer(_ASK["nozzle"], FaultRig.drip), _ASK["nozzle"]),
    Check("valve-plug", "the valve's supply and plug", (_SIGN["valve-plug"],), 1.5, _answer(_ASK["valve-plug"]),
         _ASK["valve-plug"]),
    Check("coil", "whether the coil pulls", (_SIGN["coil"],), 2.0, _answer(_ASK["coil"], _drip_times(3)),
         _ASK["coil"], answered={"drip-coil": ("moved", "still", "none")}),
    Check("button", "the board's button", (_SIGN["button"],), 1.0, _button, _ASK["button"], parts=("button",)),
    Check("shutter", "the camera's shutter", (_SIGN["shutter"],), 1.2, _answer(_ASK["shutter"], FaultRig.shoot),
         _ASK["shutter"], parts=("camera",), needs={"shot-end": ("fired", "few-edges", "no-edge")}, rests=True),
    Check("picture", "the picture", (_SIGN["picture"],), 2.5, _answer(_ASK["picture"], _fire_for_picture),
         _ASK["picture"], parts=("camera", "flash"), needs={"shot-end": ("fired",)}, rests=True),
)  # fmt: skip

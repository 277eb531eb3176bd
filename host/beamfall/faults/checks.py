"""The tests: what the board does, what the person is asked, and which signs each test can show.

`effort` counts a short question as 1. What the board does by itself costs little, but not nothing: drops fill the dish
and flashes run down.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

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


def _watched(name: str, look: Callable[[FaultRig], str]) -> Callable[[FaultRig], Outcomes]:
    """A test in which the person does something, and the board sees what comes of it."""

    def run(bench: FaultRig) -> Outcomes:
        bench.person.prepare(_ASK[name])
        return _only(name, bench.attempt(lambda: look(bench)))

    return run


def _finger(bench: FaultRig) -> str:
    dark = bench.is_dark()
    edges = bench.watch(3.5, bench.have_done(_ASK["finger"]))
    return evidence.judge_finger(bench.pulses(edges, dark=dark))


def _cover(bench: FaultRig) -> str:
    dark = bench.is_dark()
    edges = bench.watch(2.5, bench.have_done(_ASK["cover"]))
    long = [p for p in bench.pulses(edges, dark=dark) if p.length_s > 0.1]
    return "changes" if long else "no-change"


def _wiggle(bench: FaultRig) -> str:
    dark = bench.is_dark()
    edges = bench.beam_edges(bench.watch(_WIGGLE_S, bench.have_done(_ASK["wiggle"])))
    ticks = [edge.ticks for edge in edges]
    # Count only within a short time, however long the person took: otherwise chance events would add up.
    most = evidence.count_densest(ticks, round(_WIGGLE_S * bench.hz))
    drops = evidence.are_drops(bench.pulses(edges, dark=dark), bench.setup.expected)
    return "edges" if most >= _FLICKERS and not drops else "quiet"


def _button(bench: FaultRig) -> str:
    told = len(bench.board.troubles)
    edges = bench.watch(2.0, bench.have_done(_ASK["button"]))
    said = any(one.about is Signal.button1 for one in bench.board.troubles[told:])
    pressed = any(edge.signal is Signal.button1 for edge in edges)
    return "seen" if said or pressed else "none"


def _only(sign: str, outcome: str | None) -> Outcomes:
    return {} if outcome is None else {sign: outcome}


def _asked(
    name: str,
    what: str,
    effort: float,
    do: Callable[[FaultRig], object] | None = None,
    *,
    run: Callable[[FaultRig], Outcomes] | None = None,
    **more: Any,
) -> Check:
    """A test whose question and sign have its name: the person answers, after the board has done something."""
    question = _ASK[name]
    return Check(name, what, (_SIGN[name],), effort, run or _answer(question, do), question, **more)


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
    _asked("saw-drop", "whether a drop fell", 1.0, FaultRig.drip),
    _asked("heard-valve", "whether the valve clicked", 1.0, _drip_times(2), answered={"drip-coil": ("moved", "none")}),
    _asked("finger", "a finger through the beam", 1.0, run=_watched("finger", _finger), parts=("beam",)),
    _asked("cover", "a hand over the receiver", 1.0, run=_watched("cover", _cover), parts=("beam",)),
    _asked("wiggle", "the beam's cables moved", 1.2, run=_watched("wiggle", _wiggle), parts=("beam",)),
    _asked("beam-plug", "the beam's plugs", 1.5, parts=("beam",)),
    _asked("beam-path", "the beam's path", 1.5, parts=("beam",)),
    _asked("saw-flash", "whether the flash fired", 1.0, FaultRig.flash, parts=("flash",), answered=_LIT, rests=True),
    _asked("saw-flashes", "how often the flash fired", 1.1, _flash_twice, parts=("flash",), answered=_LIT, rests=True),
    _asked("ready-lamp", "the flash's lamp", 1.0, parts=("flash",), rests=True),
    _asked("flash-button", "the flash's own button", 1.2, run=_press_flash, parts=("flash",),
           spoils=("two-flashes", "saw-flash", "saw-flashes", "ready-lamp", "shot", "picture"), rests=True),
    _asked("saw-woken", "whether the flash responds now that it is awake", 1.0, FaultRig.flash, parts=("flash",),
           needs={"flash-button": ("yes",)}, answered={"flash-woken": ("lit",)}, rests=True),
    _asked("flash-mode", "the flash's mode", 1.0, parts=("flash",)),
    _asked("bottle", "the bottle", 1.0),
    _asked("cap", "release one drop with the bottle open", 1.8, FaultRig.drip),
    _asked("nozzle", "open the valve with its nozzle removed", 2.0, FaultRig.drip),
    _asked("valve-plug", "the valve's supply and plug", 1.5),
    _asked("coil", "whether the coil pulls", 2.0, _drip_times(3), answered={"drip-coil": ("moved", "still", "none")}),
    _asked("button", "the board's button", 1.0, run=_watched("button", _button), parts=("button",)),
    _asked("shutter", "the camera's shutter", 1.2, FaultRig.shoot, parts=("camera",),
           needs={"shot-end": ("fired", "few-edges", "no-edge")}, rests=True),
    _asked("picture", "the picture", 2.5, _fire_for_picture, parts=("camera", "flash"),
           needs={"shot-end": ("fired",)}, rests=True),
)  # fmt: skip

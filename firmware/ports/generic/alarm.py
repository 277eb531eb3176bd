"""One alarm, as exact as the board's timers allow, which it finds out at the start.

hard   the callback runs in the interrupt itself, also during a garbage collection (Timer(hard=True): RP2040,
       STM32, SAMD, i.MX RT; not ESP32)
fine   the alarm takes microseconds (RP2040, ESP32). Elsewhere machine.Timer counts milliseconds, and starting it
       again from its own hard callback loses it (the list of timers is being walked just then): there the alarm
       is a beat of 1 ms, and whoever is called looks whether anything is due.
"""

import gc
import time

import machine

from ports.generic.ready import move_nothing

_TRIAL_US = 2500  # a timer that counts milliseconds makes it 2 ms
_FINE_US = 2400
_PATIENCE_US = 50000
_BEAT_MS = 1
REHEARSALS = 3
_REHEARSAL_US = 12000
_APART_US = 3000
_RELEASE = 255  # as in tracks.py, and so is _TRACKS
_TRACKS = 4
_IDS = (-1, 0)  # a software timer where there is one, otherwise the first hardware timer


class Alarm:
    """Calls `callback(timer)`. `late_us`: how late that may be."""

    def __init__(self, callback):
        self.hard = False
        self.fine = False
        self._fired_us = 0
        self._heard = False
        self._trial_late_us = 0
        self._timer = self._find()
        self._callback = callback
        self._mode = machine.Timer.ONE_SHOT
        # How late a call may be: a beat up to one beat, a soft callback until what runs before it has ended.
        self.late_us = (self._trial_late_us if self.fine else 1000 * _BEAT_MS) + (
            0 if self.hard else 200
        )

    def _find(self):
        for identity in _IDS:
            try:
                timer = machine.Timer(identity)
            except (ValueError, TypeError, OSError):
                continue
            for hard in (True, False):
                if self._try(timer, hard):
                    return timer
        raise ValueError("no timer of this board works; see ports/generic/alarm.py")

    def _try(self, timer, hard):
        options = {"hard": True} if hard else {}
        self._heard = False
        gc.collect()  # a collection within the trial would count as a late alarm
        begun = time.ticks_us()
        try:
            timer.init(
                mode=machine.Timer.ONE_SHOT,
                period=_TRIAL_US,
                tick_hz=1000000,
                callback=self._trial,
                **options,
            )
        except (ValueError, TypeError):
            return False
        while not self._heard and time.ticks_diff(time.ticks_us(), begun) < _PATIENCE_US:
            time.sleep_ms(0)
        timer.deinit()
        self.hard = hard
        self._trial_late_us = time.ticks_diff(self._fired_us, begun) - _TRIAL_US
        self.fine = time.ticks_diff(self._fired_us, begun) >= _FINE_US
        return self._heard

    def _trial(self, _timer):
        self._fired_us = time.ticks_us()
        self._heard = True

    def begin(self):
        """Start; from now on the alarm may be set."""
        if not self.fine:
            self._init(machine.Timer.PERIODIC, _BEAT_MS, 1000)

    def set(self, wait_us):
        """Call back in `wait_us`; this replaces an alarm set before. The callback may call it."""
        if self.fine:
            self._init(self._mode, wait_us, 1000000)

    def _init(self, mode, period, hz):
        if self.hard:
            self._timer.init(
                mode=mode, period=period, tick_hz=hz, callback=self._callback, hard=True
            )
        else:
            self._timer.init(mode=mode, period=period, tick_hz=hz, callback=self._callback)

    def end(self):
        self._timer.deinit()


def rehearse(player, alarm):
    """How long before an event the alarm must be set on this board: found by playing tables with no pins."""
    tracks = player.tracks
    player.pins[0] = move_nothing
    player.ahead = _APART_US // 2
    tracks.number = 0
    at = 0
    for track in range(_TRACKS):
        events = [
            (_REHEARSAL_US * (number + 1) + _APART_US * track, 1, 0, 0, _REHEARSAL_US)
            for number in range(REHEARSALS)
        ]
        at = tracks.put(_RELEASE, events, at)
    player.longest = 0
    player.start(None)
    while not player.rows_done() and player.now() < _REHEARSAL_US * (REHEARSALS + 4):
        time.sleep_ms(1)
    player.playing = False
    player.recording = False
    alarm.end()
    player.pins[0] = None
    player.level[0] = 0
    tracks.number = 0
    # Half as much again, because the board has nothing else to do while this is measured.
    return (player.longest + alarm.late_us) * 3 // 2

"""Rules: service actions, and a host that falls silent."""

from __future__ import annotations

from contextlib import suppress

from hypothesis import strategies as st
from hypothesis.stateful import precondition, rule
from line import HZ, MS
from machine_host import Faults, HostMachine, breaks, perhaps_faults
from machine_tables import BUTTON, CAMERA2, FLASH2, LONGEST, RINSE_MAX_MS, VALVE3

from beamfall.board import Board
from beamfall.errors import BeamfallError, Refused

SERVICES = ("drip", "rinse", "test_flash")
# A shot is longer than the time-out; the board may look a second late.
_CUT_SHORT = [("shot", "long", 0.2), ("shot", "long", 0.6)]
_AFTERWARDS_S = {"drip": 1.3, "rinse": 1.3, "test_flash": 0.1}
with_host = precondition(lambda self: self.host is not None)


class ServiceRules(HostMachine):
    def _begin_service(self, name: str, milliseconds: int, confirm: bool) -> tuple[int, int, bool]:
        """(output, ticks, whether the host was told that it was done)."""
        number = next(self.numbers)
        if name == "drip":
            ticks = milliseconds * MS + number
            return VALVE3, ticks, self._serve(name, VALVE3, ticks, width_ticks=ticks)
        if name == "test_flash":
            ticks = (1 + milliseconds % 15) * MS + number
            return FLASH2, ticks, self._serve(name, FLASH2, ticks, width_ticks=ticks)
        width_ms = 250 + 20 * milliseconds + number
        token = 0
        try:
            self._request("rinse", output=VALVE3, width_ms=width_ms, token=0)
        except Refused as refusal:
            if refusal.reason != "unconfirmed":
                raise
            token = refusal.detail
        if confirm and token:
            ticks = width_ms * MS
            return VALVE3, ticks, self._serve(name, VALVE3, ticks, width_ms=width_ms, token=token)
        if token:
            self._request("rinse", output=VALVE3, width_ms=width_ms, token=token + 1)
        return VALVE3, width_ms * MS, False

    @with_host
    @rule(
        name=st.sampled_from(SERVICES),
        milliseconds=st.integers(1, 190),
        confirm=st.booleans(),
        good=st.booleans(),
        to_board=perhaps_faults,
        to_host=perhaps_faults,
    )
    def serve(
        self,
        name: str,
        milliseconds: int,
        confirm: bool,
        good: bool,
        to_board: Faults,
        to_host: Faults,
    ) -> None:
        if good:  # but for what is to come
            self._make_all_well()
        self._spoil(to_board, to_host)
        with self._trying():
            self._begin_service(name, milliseconds, confirm)
        self._plan_drop(60)
        self.line.sleep(0.05)

    @rule(name=st.sampled_from(SERVICES), how=breaks, to_board=st.booleans())
    def serve_and_lose_the_answer(self, name: str, how: Faults, to_board: bool) -> None:
        self._make_all_well()
        self._spoil(how if to_board else [], [] if to_board else how)
        with self._trying():
            self._begin_service(name, 20, True)
        self.line.sleep(0.05)

    @rule(name=st.sampled_from(SERVICES), milliseconds=st.integers(1, 190))
    def serve_on_a_good_line(self, name: str, milliseconds: int) -> None:
        host = self._make_all_well()
        self._serve_well(host, name, milliseconds)
        with self._must("listening"):
            self._listen_to_the_end()

    def _serve_well(self, host: Board, name: str, milliseconds: int) -> None:
        for _ in range(40):
            try:
                output, ticks, done = self._begin_service(name, milliseconds, True)
            except Refused as refusal:
                assert refusal.reason == "too_soon", refusal
                host.sleep(refusal.detail / 1000)
                continue
            except BeamfallError as error:
                raise AssertionError(f"on a good line, {name}: {error}") from error
            assert done, f"{name}: on a good line the host is not told that it was done"
            self._plan_drop(20)
            with self._must("listening"):
                host.sleep(_AFTERWARDS_S[name] + ticks / MS / 1000)
            self.pins.look(self.time)
            assert self.pins.served[output, ticks] == 1, f"{name} did not happen"
            return
        raise AssertionError(f"{name} is too soon for ever")

    @with_host
    @rule(
        name=st.sampled_from(SERVICES),
        over=st.sampled_from([1, 1000, 100 * MS]),
        good=st.booleans(),
    )
    def serve_beyond_limits(self, name: str, over: int, good: bool) -> None:
        if good:
            self._make_all_well()
        with self._trying():
            if name == "rinse":
                width_ms = RINSE_MAX_MS + min(over, 1000)
                token = 0
                for _ in range(2):
                    try:
                        self._request("rinse", output=VALVE3, width_ms=width_ms, token=token)
                    except Refused as refusal:
                        token = refusal.detail
            else:
                output = VALVE3 if name == "drip" else FLASH2
                self._request(name, output=output, width_ticks=LONGEST[output] + over)
        self.line.sleep(0.4)

    @with_host
    @rule(drips=st.integers(5, 15))
    def nobody_listens(self, drips: int) -> None:
        """Make more reports than the board has room for."""
        for _ in range(drips):
            with self._trying():
                self._begin_service("drip", 1, True)
            self.line.sleep(1.3)

    @rule(times=st.integers(3, 20), name=st.sampled_from(["drip", "test_flash"]))
    def serve_as_often_as_can_be(self, times: int, name: str) -> None:
        """Each is stopped as soon as its pulse is over: what holds back the next one is first the output's rest, then
        the duty."""
        host = self._make_all_well()
        for _ in range(times):
            with self._trying():
                output, ticks, _ = self._begin_service(name, 190, True)
                self.line.sleep((ticks + MS // 100) / HZ)
                assert output not in self.rig.on
                self._abort()
                if self._begin_again(name):
                    self._abort()
                self.line.sleep(0.003 if name == "drip" else 0.021)
        with self._must("listening"):
            host.pump(0.1)
            host.settle()

    def _begin_again(self, name: str) -> bool:
        """Ask again at once; return whether the board does it, though its output has not rested."""
        with suppress(Refused):
            self._begin_service(name, 1, True)
            self.line.sleep(0.0005)
            return True
        return False

    # -- the host's time-out -----------------------------------------------------------------------------------------
    @rule(
        timeout_s=st.sampled_from([0.2, 0.6]),
        what=st.sampled_from(["nothing", "shot", "drip", "button"]),
        kind=st.sampled_from(["long", "open"]),
    )
    def host_falls_silent(self, timeout_s: float, what: str, kind: str) -> None:
        """The host asks to be missed, then falls silent for long."""
        host = self._make_all_well()
        with self._must("beginning something"):
            plan = self._plan(kind)
            if what != "nothing":
                assert self._arm(plan)
            host.set_host_timeout(timeout_s)
        life, began = self.rig.boot, False
        if what == "shot":
            began = self._release()
        elif what == "drip":
            with self._trying():
                _, _, began = self._begin_service("drip", 150, True)
        elif what == "button":
            self.line.sleep(11.0)  # nothing has to rest any more
            with self._must("a sign of life"):
                host.status()
            began = True
            self._press(60)
        self.line.sleep(timeout_s + 1.1)  # the board looks at least once a second
        assert self.rig.boot == life
        if what == "button":  # needs no host, and goes on
            self.pins.look(self.time)
            assert self.pins.count(plan.table) == 1, "the button released nothing"
            if kind == "long":
                assert CAMERA2 in self.rig.on, "a shot of the button was stopped"
            self.line.sleep(3.0)
        assert not self.rig.on, "outputs are on though the host is lost"
        with self._must("asking"):
            status = host.status()
            if began and (what == "drip" or (what, kind, timeout_s) in _CUT_SHORT):
                found = (status.state.name, status.cause.name)
                assert found == ("fault", "lost_host"), (
                    f"the host was lost, and the board says {found}"
                )
            host.set_host_timeout(0)

    def _press(self, down_ms: int) -> None:
        """The contact bounces, as contacts do."""
        self.told.presses.append((self.rig.boot, self.time + (down_ms + 2) * MS))
        self._may_end_watches()  # one that nobody listens to gives way to the button
        for after_ms, level in (
            (1, 1), (2, 0), (3, 1), (down_ms, 0), (down_ms + 1, 1), (down_ms + 2, 0),
        ):  # fmt: skip
            self.rig.plan(self.now + after_ms * MS, BUTTON, level)

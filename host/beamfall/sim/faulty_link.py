"""Faults between the simulated board and this computer: drop-outs, restarts, another firmware."""

from __future__ import annotations

import random
import weakref
from collections.abc import Callable
from typing import Any, cast

from beamfall.errors import LinkLost, PortNotFound, UserError
from beamfall.link.transport import Transport
from beamfall.sim.defects import RigInRoom
from beamfall.sim.firmware_modules import FirmwareModules, load_other_firmware

BACK_S = 1.0  # a USB device that dropped out returns after this time (our choice)


class _Plug:
    """The board's end of a USB line that sometimes drops out; it lives longer than one opening of the port."""

    def __init__(self, inner: Transport, rig: RigInRoom) -> None:
        self.inner = inner
        self.rig = rig
        self._draws = random.Random(f"{rig.seed}/usb")
        self.lost_s: float | None = None
        self.can_return = rig.condition.usb_holds_s < 1e9
        if self.can_return:
            weakref.finalize(self, inner.close)
        self._plan()

    def _plan(self) -> None:
        holds = self.rig.condition.usb_holds_s
        self.next_s = self.inner.clock() + (
            1.0 + self._draws.expovariate(1.0 / holds) if holds < 1e9 else 1e18
        )

    def watch(self) -> bool:
        """Restart the board if its supply failed; return whether the line drops out now."""
        if self.rig.restart_due:
            self.rig.restart_due = False
            self.inner.reset_board()  # type: ignore[attr-defined]
        if self.lost_s is None and self.inner.clock() >= self.next_s:
            self.lost_s = self.inner.clock()
        return self.lost_s is not None

    def open(self) -> Transport:
        """Open the port again, once the device is back."""
        if self.lost_s is not None:
            if self.inner.clock() < self.lost_s + BACK_S:
                raise PortNotFound(f"{self.inner.name}: the port does not exist")
            self.lost_s = None
            self._plan()
        return cast(Transport, FaultyTransport(self))


class FaultyTransport:
    """A transport to a simulated board whose USB line or supply fails."""

    def __init__(self, plug: _Plug) -> None:
        self._plug = plug
        self._lost = False

    def __getattr__(self, name: str) -> Any:  # name, traits, clock and rig
        return getattr(self._plug.inner, name)

    def _check(self) -> None:
        self._lost = self._plug.watch() or self._lost
        if self._lost:
            raise LinkLost(f"{self.name}: the port has disappeared")

    def read(self, timeout_s: float) -> bytes:
        self._check()
        data = self._plug.inner.read(timeout_s)
        self._check()
        return data

    def write(self, data: bytes) -> None:
        self._check()
        self._plug.inner.write(data)

    def sleep(self, seconds: float) -> None:
        self._plug.inner.sleep(seconds)
        self._plug.watch()

    def close(self) -> None:
        """Close the port. A board that can be plugged in again stays alive until nobody can reach it."""
        self._lost = True
        if not self._plug.can_return:
            self._plug.inner.close()


def spoil_link(
    inner: Transport, rig: RigInRoom
) -> tuple[Transport, Callable[[], Transport] | None]:
    """Return the transport for this rig's condition, and how to open it again."""
    condition = rig.condition
    if condition.usb_holds_s > 1e9 and not condition.supply.restart_share:
        return inner, None
    plug = _Plug(inner, rig)
    return plug.open(), (plug.open if plug.can_return else None)


def find_firmware_of(rig: RigInRoom, kind: str) -> FirmwareModules | None:
    """Return the firmware of this rig's board if it does not belong to this library."""
    differs = rig.condition.firmware
    if not differs:
        return None
    if kind != "sim":
        raise UserError(f"fault 'firmware-differs' is for the port sim; {kind} runs the real files")
    return load_other_firmware(differs)

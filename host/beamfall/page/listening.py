"""A board that passes on what it hears while others drive it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from beamfall.board import Board, Status
from beamfall.events import Event
from beamfall.link import Link, LinkTiming, Transport
from beamfall.page.paced import PacedTransport
from beamfall.ports import Opened, open_transport
from beamfall.setup.rig import Rig

Opener = Callable[["Rig | None"], Opened]


@dataclass(frozen=True)
class BoardCallbacks:
    """Callbacks: for each event, for each status, and for a port that is gone."""

    events: Callable[[list[Event]], None]
    status: Callable[[Status], None]
    lost: Callable[[], None]
    poll: Callable[[], None]


class ListeningBoard(Board):
    """`Board` with callbacks; otherwise the same."""

    def __init__(self, link: Link, callbacks: BoardCallbacks) -> None:
        self._callbacks = callbacks
        super().__init__(link)

    def pump(self, timeout_s: float) -> list[Event]:
        events = super().pump(timeout_s)
        if events:
            self._callbacks.events(events)
        return events

    def status(self) -> Status:
        status = super().status()
        self._callbacks.status(status)
        return status


def make_opener(port: str | None, seed: int) -> Opener:
    """Return what opens a port by its name, as `Board.connect` does."""

    def open_port(rig: Rig | None) -> Opened:
        return open_transport(port, rig, seed)

    return open_port


def connect(
    opener: Opener,
    rig: Rig | None,
    callbacks: BoardCallbacks,
    *,
    pace: float,
    timing: LinkTiming | None = None,
) -> ListeningBoard:
    """Open a port and say hello; raises as `Board.connect`."""
    inner, reconnect = opener(rig)

    def wrap(transport: Transport) -> PacedTransport:
        virtual = transport.traits.is_virtual_time
        return PacedTransport(transport, callbacks.poll, pace if virtual else None)

    def reopen() -> Transport:
        assert reconnect is not None
        callbacks.lost()
        return wrap(reconnect())

    link = Link(
        wrap(inner),
        timing=timing,
        reconnect=None if reconnect is None else reopen,
        acknowledge_on_receipt=False,
    )
    try:
        link.open()
        return ListeningBoard(link, callbacks)
    except BaseException:
        link.close()
        raise

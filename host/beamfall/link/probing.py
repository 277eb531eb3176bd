"""Finds the board among this computer's ports without sending a byte to any other device.

A board with this firmware that hears no host identifies itself about once a second (`beacon`, protocol/SPEC.md). The
search only listens for that, so it leaves other devices alone, such as a board that runs somebody's own program.
"""

from __future__ import annotations

from beamfall.errors import BeamfallError, NotABoard, PortNotFound
from beamfall.link.line_levels import recall_levels
from beamfall.link.port_list import PortSeen, list_ports
from beamfall.link.serial_port import SerialTransport
from beamfall.link.trace import trace_if_asked
from beamfall.link.transport import Transport
from beamfall.wire import Frame, Framer, get_codec

_DIGEST_SIZE = 8  # of a beacon's first field, in every version
LISTEN_S = 2.6  # a beacon comes once a second, the first one a second after the last host was heard


def listen_for_beacon(transport: Transport) -> bytes | None:
    """Return the digest of its definition from the first beacon heard on a port, or None. Sends nothing."""
    definition = get_codec().definition
    framer = Framer(definition)
    deadline = transport.clock() + LISTEN_S
    while (left := deadline - transport.clock()) > 0:
        for found in framer.feed(transport.read(left)):
            if isinstance(found, Frame) and definition.by_id[found.message].kind == "beacon":
                return found.payload[:_DIGEST_SIZE]
    return None


def find_board(seen: list[PortSeen] | None = None) -> str:
    """Return the port of the one board that identifies itself.

    Raises PortNotFound if there is no candidate port, no beacon, or more than one board.
    """
    ports = list_ports() if seen is None else seen
    candidates = [port for port in ports if port.is_candidate]
    if not candidates:
        others = ", ".join(str(port) for port in ports) or "none"
        raise PortNotFound(
            f"no board found (serial ports here: {others}); connect it with a USB cable that carries data, name its "
            "port with --port, or use --port sim to work without one"
        )
    boards: list[str] = []
    silent: list[str] = []
    for port in candidates:
        try:
            levels = recall_levels(port.device)
            line = SerialTransport(port.device, dtr=levels.dtr, rts=levels.rts)
        except BeamfallError as error:
            silent.append(f"{port.device}: {error}")
            continue
        transport = trace_if_asked(line)
        try:
            heard = listen_for_beacon(transport)
        except BeamfallError as error:
            silent.append(f"{port.device}: {error}")
            continue
        finally:
            transport.close()
        if heard is not None:
            boards.append(port.device)
        else:
            silent.append(f"{port}: a MicroPython board without this firmware")
    if len(boards) == 1:
        return boards[0]
    if boards:
        raise PortNotFound(
            f"more than one board is connected: {', '.join(boards)}; name one with --port"
        )
    raise NotABoard(
        f"no board with this firmware found ({'; '.join(silent)}; nothing was sent to them); install it with "
        "`beamfall board install`, name the port with --port, or use --port sim to work without one"
    )

"""Gets a board with any version of this firmware to the interpreter's prompt.

A hello with the board's own definition digest, which its beacon contains, opens a session with any firmware of the
same protocol version. The request `maintenance` has no fields, and its id should never change.
"""

from __future__ import annotations

import secrets

from beamfall.board_tools.errors import InstallError
from beamfall.link.session import make_refusal
from beamfall.link.transport import Transport
from beamfall.wire import Frame, Framer, Message, encode_frame, get_codec

_TRIES = 6  # of the hello
_WAIT_S = 1.0
_LAST_WAIT_S = 5.0  # sent once: a second one could reach the prompt of a board that has restarted
_WELCOME_DIGEST = slice(1, 9)


def ask_for_maintenance(transport: Transport, digest: bytes) -> None:
    """Restart a board with that definition digest without main loop and watchdog.

    Raises Refused (busy) while a shot or watch runs, InstallError if the board does not answer.
    """
    codec = get_codec()
    definition = codec.definition
    framer = Framer(definition)
    session = 1 + secrets.randbelow(0xFFFF)
    requests = (Message("hello", {"definition": digest}), Message("maintenance", {}))
    for number, request in enumerate(requests, 1):
        line = b"\0" + encode_frame(codec.make_frame(request, session, number), definition)
        tries, wait_s = (_TRIES, _WAIT_S) if number == 1 else (1, _LAST_WAIT_S)
        answer = _exchange(transport, framer, line, (session, number), tries, wait_s)
        if answer is None:
            if number == 2:
                return  # it may have restarted before its answer was read; the prompt shows whether it did
            raise InstallError(
                f"{transport.name}: a board with Beamfall is there but does not answer; "
                "hold its button down while you plug it in"
            )
        if answer.message == definition.messages["refused"].id:
            raise make_refusal(definition, codec.decode_frame(answer))
        if number == 1 and bytes(answer.payload[_WELCOME_DIGEST]) != digest:
            raise InstallError(
                f"{transport.name}: the board's firmware changed meanwhile; try again"
            )


def _exchange(
    transport: Transport,
    framer: Framer,
    line: bytes,
    expected: tuple[int, int],
    tries: int,
    wait_s: float,
) -> Frame | None:
    for _ in range(tries):
        transport.write(line)
        deadline = transport.clock() + wait_s
        while (left := deadline - transport.clock()) > 0:
            for found in framer.feed(transport.read(left)):
                if isinstance(found, Frame) and (found.session, found.number) == expected:
                    return found
    return None

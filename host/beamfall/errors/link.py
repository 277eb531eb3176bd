"""Ports, sessions and boards: nothing answers, the wrong one answers, or it refuses."""

from __future__ import annotations

from beamfall.errors.root import BeamfallError, UserError


class LinkError(BeamfallError):
    """Root of all that goes wrong between host and board."""


class PortNotFound(UserError, LinkError):
    """The port named does not exist, or none (or more than one) was found when none was named."""


class PortSyntaxError(UserError, LinkError, ValueError):
    """The port name or URL cannot be understood."""


class PortBusy(LinkError):
    """Another program holds the port: close it."""


class PortDenied(LinkError, PermissionError):
    """The operating system does not let this user open the port."""


class NotABoard(LinkError):
    """The port opens, but whatever is connected does not answer as this firmware does.

    `heard` holds the first bytes that came, empty if none did; `echoed`: the host's own words came back.
    """

    def __init__(self, message: str, *, heard: bytes = b"", echoed: bool = False) -> None:
        super().__init__(message)
        self.heard = heard
        self.echoed = echoed


class AtPrompt(NotABoard):
    """A MicroPython interpreter's prompt answers: this firmware is not there, or its start was stopped."""


class ImplausibleBoard(LinkError):
    """A welcome holds a value that no board can have, in this `field`. Install the firmware again."""

    def __init__(self, message: str, *, field: str) -> None:
        super().__init__(message)
        self.field = field


class ProtocolMismatch(LinkError):
    """The board's protocol version differs: update the older side. `board` and `library` are the two versions."""

    def __init__(self, message: str, *, board: int, library: int) -> None:
        super().__init__(message)
        self.board = board
        self.library = library


class DefinitionMismatch(LinkError):
    """Same protocol version, but board and library were made from different messages.toml."""


class NoAnswer(LinkError, TimeoutError):
    """A request was repeated as often as allowed and never answered."""


class NotOpen(LinkError):
    """A request was made with no open session: call open() first."""


class LinkLost(LinkError, ConnectionError):
    """The port failed while in use, as when a cable is pulled: plug it in and call reopen()."""


class AnotherBoard(LinkLost):
    """Another board answers at the port: plug in the one in use, or open the port again for this one."""


class Refused(BeamfallError):
    """The board refused a request; nothing has changed on the board.

    `request` is the request's name; `reason` the name from messages.toml (`beam_blocked`), `row`
    the row at fault from 0 or None, `detail` the number that goes with the reason, `meaning` and
    `cure` the words of the definition.
    """

    def __init__(
        self,
        request: str,
        reason: str,
        *,
        row: int | None = None,
        detail: int = 0,
        meaning: str = "",
        cure: str = "",
    ) -> None:
        self.request = request
        self.reason = reason
        self.row = row
        self.detail = detail
        self.meaning = meaning
        self.cure = cure
        where = "" if row is None else f", row {row}"
        what = f": {meaning}" if meaning else ""
        number = f" (detail {detail})" if detail else ""
        then = f"; {cure}" if cure else ""
        super().__init__(
            f"the board refused {request.replace('_', '-')}{where}, "
            f"{reason.replace('_', '-')}{what}{number}{then}"
        )

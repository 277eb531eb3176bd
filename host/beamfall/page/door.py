"""What opens the page: the addresses it answers to, the cookie's token, and links that work once.

The token is only ever in a cookie. Everything that other programs can see, such as the arguments of the
browser or a terminal's log, gets a link with a code instead. The page exchanges the code for the cookie, and
then the code is void.
"""

from __future__ import annotations

import hmac
import io
import ipaddress
import secrets
import socket
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from urllib.parse import urlsplit

BROWSER_S = 120.0  # long enough for a browser that this program starts
PERSON_S = 3600.0  # long enough to carry the link to a tablet
_CODES_MOST = 20
_USED_MOST = 100


class Codes:
    """One-time codes. Any thread may call."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._lock = threading.Lock()
        self._ends: dict[str, float] = {}  # code -> when it ends, oldest first
        self._used: dict[str, str] = {}  # code -> who used it and when, oldest first

    def make(self, seconds: float) -> str:
        """A new code, valid once and for a limited time; if there are too many, the oldest becomes void."""
        code = secrets.token_urlsafe(32)
        with self._lock:
            self._ends[code] = self._clock() + seconds
            while len(self._ends) > _CODES_MOST:
                del self._ends[next(iter(self._ends))]
        return code

    def use(self, code: str, who: str = "") -> bool:
        """Whether a code was valid; it is void afterwards. `who`: the address that it came from."""
        with self._lock:
            end = self._ends.pop(code, None)
            if end is None or self._clock() >= end:
                return False
            self._used[code] = f"from {who} at {time.strftime('%H:%M:%S')}"
            while len(self._used) > _USED_MOST:
                del self._used[next(iter(self._used))]
            return True

    def find_first_use(self, code: str) -> str | None:
        """Where and when a code was first used; None if it has not been used.

        Asked when it comes a second time: two people have had the same link. The session of the first use goes on,
        since it may be the owner's, whose abort must get through; a person decides by what is said here.
        """
        with self._lock:
            return self._used.get(code)


@dataclass(frozen=True)
class Door:
    """Decides who may connect. `host`: the address that the server listens on; `names`: this computer's own."""

    token: str
    host: str
    port: int
    names: frozenset[str] = field(default_factory=frozenset)
    codes: Codes = field(default_factory=Codes)
    scheme: str = "http"

    @property
    def cookie(self) -> str:
        """The token's cookie; its name has the port, since cookies have none."""
        return f"beamfall_{self.port}"

    @property
    def address(self) -> str:
        """Where the page is. It says nothing that opens it."""
        host = self.host
        if host in ("0.0.0.0", "::"):
            host = _find_own_address()
        return f"{self.scheme}://{f'[{host}]' if ':' in host else host}:{self.port}/"

    def make_link(self, seconds: float = PERSON_S) -> str:
        """A link that opens the page once; its code is in the part that a browser does not send."""
        return f"{self.address}#{self.codes.make(seconds)}"

    def allows_host(self, value: str) -> bool:
        """Whether a Host header names this server.

        On the loopback address: its literals and `localhost`. Elsewhere also this computer's own name and
        address literals, which no name server can redirect.
        """
        # Not Starlette's TrustedHostMiddleware: it compares with a list of names and ignores the port, so that all of
        # this would stay beside it.
        try:
            parts = urlsplit(f"//{value}")
            name, port = parts.hostname or "", parts.port
        except ValueError:  # brackets that do not match, a port that is not a number
            return False
        if parts.netloc != value or "@" in value:
            return False
        if (port or {"http": 80, "https": 443}[self.scheme]) != self.port:
            return False
        if name == "localhost":
            return True
        try:
            address = ipaddress.ip_address(name)
        except ValueError:
            return not self.is_loopback and name in self.names
        return address.is_loopback if self.is_loopback else True

    @property
    def is_loopback(self) -> bool:
        """Whether only this computer can reach it."""
        return self.host == "localhost" or ipaddress.ip_address(self.host).is_loopback

    def knows(self, cookies: str) -> bool:
        """Whether a Cookie header has the token; takes as long whatever is wrong with it."""
        return any(
            hmac.compare_digest(value.encode(errors="replace"), self.token.encode())
            for value in read_cookies(cookies, self.cookie)
        )


def own_names() -> frozenset[str]:
    """The names of this computer, lower case."""
    name = socket.gethostname().lower()
    return frozenset({name, f"{name.split('.')[0]}.local"})


def read_cookies(header: str, name: str) -> list[str]:
    """The values of a cookie, as a browser sends them (RFC 6265, section 4.2.1).

    The same header holds what other servers on this computer have set, on whatever port, whatever they
    write into it; and the same name twice where one of them has set it for a longer path.
    """
    pairs = (part.partition("=") for part in header.split(";"))
    return [value.strip() for key, _, value in pairs if key.strip() == name]


def _find_own_address() -> str:
    """The address by which others reach this computer, as far as it knows. Nothing is sent."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # TEST-NET-1 (RFC 5737): only the route is looked up
            return str(probe.getsockname()[0])
        except OSError:
            return "127.0.0.1"


def draw_code(link: str) -> list[str]:
    """Return the modules of the code row by row: `1` is dark. The quiet zone is left to whoever draws it."""
    import segno

    return [
        "".join("1" if module else "0" for module in row)
        for row in segno.make(link, error="l").matrix
    ]


def print_code(link: str) -> str:
    """Return the code as characters for a terminal, two rows in each line."""
    import segno

    text = io.StringIO()
    segno.make(link, error="l").terminal(text, compact=True)
    return text.getvalue()

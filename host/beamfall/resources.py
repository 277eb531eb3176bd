"""Where the files that are not Python code of this package lie: the protocol and the firmware.

In a checkout they are the top-level folders `protocol/` and `firmware/`; a wheel carries the same
folders inside the package as `beamfall/_data/protocol` and `beamfall/_data/firmware`.
"""

from __future__ import annotations

from pathlib import Path

from beamfall.errors import ResourceMissing

_PACKAGE = Path(__file__).resolve().parent


def find_folder(name: str) -> Path:
    """Return the folder `name` (`protocol` or `firmware`) of the wheel or of the checkout.

    Raises ResourceMissing when neither place has it, which means a damaged installation.
    """
    places = (_PACKAGE / "_data" / name, _PACKAGE.parent.parent / name)
    for place in places:
        if place.is_dir():
            return place
    seen = " nor ".join(str(place) for place in places)
    raise ResourceMissing(
        f"the folder {name}/ is neither at {seen}; install the package again: "
        "pip install --force-reinstall beamfall"
    )


def find_protocol() -> Path:
    """Return the folder that holds messages.toml, SPEC.md and vectors.json."""
    return find_folder("protocol")


def find_firmware() -> Path:
    """Return the folder that holds the firmware's source."""
    return find_folder("firmware")


def find_checkout() -> Path | None:
    """Return the top of the source checkout this package runs from; None in an installed wheel."""
    top = _PACKAGE.parent.parent
    return top if (top / "protocol" / "messages.toml").is_file() else None

"""A link as a QR code (ISO/IEC 18004), for a tablet's camera."""

from __future__ import annotations

import io


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

"""`beamfall page`: the rig at a glance in a browser."""

from __future__ import annotations

import webbrowser
from pathlib import Path

import typer

from beamfall.cli.shoot import PORT_HELP
from beamfall.page.door import BROWSER_S
from beamfall.page.listening import make_opener
from beamfall.page.serve import PageServer, parse_listen


def page(
    rig_file: Path | None = typer.Argument(
        None, metavar="[RIG]", help="Rig file (TOML); without one, the example rig."
    ),
    port: str | None = typer.Option(None, "--port", help=PORT_HELP),
    listen: str = typer.Option(
        "127.0.0.1:0",
        "--listen",
        help="Address and port; 0.0.0.0:8080 lets a tablet on the same network in.",
    ),
    browser: bool = typer.Option(True, "--browser/--no-browser", help="Open a browser on it."),
    seed: int = typer.Option(0, "--seed", min=0, help="All chance of a simulated rig."),
    pace: float = typer.Option(
        1.0, "--pace", min=0.1, max=100.0, help="How fast a simulated rig's time passes."
    ),
) -> None:
    """Serve the bench page: live state, plan, release, sweep, seek, check, and the shot log.

    The printed link opens the page once; the page makes links for tablets and other browsers. Ctrl-C ends
    the page with all outputs off.
    """

    server = PageServer(
        make_opener(port, seed),
        rig_file=rig_file,
        listen=parse_listen(listen),
        seed=seed,
        pace=pace,
    )

    def say() -> None:
        print(f"The bench page: {server.door.make_link()}", flush=True)
        print(
            "The link works once, within an hour. The page makes links for other devices.",
            flush=True,
        )
        if not server.door.is_loopback:
            print(
                "Everyone on this network can reach the page, and its traffic is not encrypted: use a network "
                "of your own, and keep the link to yourself.",
                flush=True,
            )
        print("Ctrl-C ends it; all outputs go off.", flush=True)
        if browser:
            # Other users can read a browser's arguments: this link is void once the browser has used it.
            webbrowser.open(server.door.make_link(BROWSER_S))

    server.run(say)

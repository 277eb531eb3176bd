"""`beamfall page`: the rig at a glance in a browser."""

from __future__ import annotations

import sys
import webbrowser
from pathlib import Path

import typer

from beamfall.cli.help import describe_commands
from beamfall.cli.options import PORT, RIG, SEED
from beamfall.cli.pictures import CAMERA, PHOTOS
from beamfall.handbook import COMMANDS, MADE
from beamfall.page.door import BROWSER_S, print_code
from beamfall.page.listening import make_opener
from beamfall.page.serve import PageServer, parse_listen


def page(
    rig_file: Path | None = RIG,
    port: str | None = PORT,
    listen: str = typer.Option(
        "127.0.0.1:0",
        help="Address and port; 0.0.0.0:8080 also lets a tablet on your network connect.",
    ),
    tls: bool = typer.Option(
        False,
        "--tls",
        help="Encrypt the page with this computer's own certificate; the browser warns about it once.",
    ),
    browser: bool = typer.Option(True, "--browser/--no-browser", help="Open it in a browser."),
    seed: int = SEED,
    pace: float = typer.Option(
        1.0, min=0.1, max=100.0, help="Speed of a simulated rig's clock; 2 is twice as fast."
    ),
    camera: str | None = CAMERA,
    photos: Path | None = PHOTOS,
) -> None:
    """Run the whole rig from a web browser.

    The printed link works once; the page itself makes links for tablets and other browsers. Ctrl-C ends
    the page and switches all outputs off. Closing the last browser page aborts what is running.
    """
    MADE[COMMANDS] = describe_commands
    server = PageServer(
        make_opener(port, seed),
        rig_file=rig_file,
        listen=parse_listen(listen),
        seed=seed,
        pace=pace,
        camera=camera,
        photos=photos,
        tls=tls,
    )

    def say() -> None:
        print(f"The bench page: {server.door.make_link()}", flush=True)
        print(
            "The link works once, within an hour. The page makes links for other devices.",
            flush=True,
        )
        if not server.door.is_loopback:
            if sys.stdout.isatty():
                print(f"Scan with a tablet:\n{print_code(server.door.make_link())}", flush=True)
            if server.certificate is None:
                print(
                    "Everyone on this network can reach the page, and its traffic is not encrypted: use a private "
                    "network or add --tls, and keep the link to yourself.",
                    flush=True,
                )
        if server.certificate is not None:
            print(
                "The browser will warn about the certificate. Accept it if it shows this SHA-256 fingerprint:\n"
                f"{server.certificate.fingerprint}",
                flush=True,
            )
        print("Ctrl-C ends it; all outputs go off.", flush=True)
        if browser:
            # Other users can read a browser's arguments: this link is void once the browser has used it.
            webbrowser.open(server.door.make_link(BROWSER_S))

    server.run(say)

"""Nothing that others can see opens the page: a link works once, and the token is in the cookie alone."""

from __future__ import annotations

import json
import re
from collections.abc import Callable

import pytest
from page_helpers import QUICK_RIG, Asker, Open, Serve, expect, wait_ready
from typer.testing import CliRunner

from beamfall.cli.app import app
from beamfall.page.serve import PageServer


def test_what_the_browser_gets_as_an_argument_is_void_after_use(
    serve: Serve, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Other users read the arguments of a process; a terminal's output goes into logs."""
    opened: list[str] = []
    servers: list[PageServer] = []

    def begin(server: PageServer, when_up: Callable[[], None]) -> None:
        servers.append(server)
        when_up()

    monkeypatch.setattr("webbrowser.open", opened.append)
    monkeypatch.setattr(PageServer, "run", begin)
    result = CliRunner().invoke(app, ["page", "--port", "sim"])
    assert result.exit_code == 0, result.output
    (server,) = servers
    server._socket.close()
    printed = result.output.split()[3]
    assert printed.startswith(server.address) and opened[0].startswith(server.address)
    assert printed != opened[0], "one for the browser, one for a tablet"
    for link in (printed, opened[0]):
        assert server.door.token not in link
        code = link.partition("#")[2]
        assert server.door.codes.use(code) and not server.door.codes.use(code)


def test_a_link_gives_the_cookie_once_and_a_second_use_is_reported(serve: Serve) -> None:
    served = serve(rig=QUICK_RIG)
    asker = Asker(served)
    code = served.link.partition("#")[2]
    status, headers, _ = asker.enter(code)
    assert status == 204 and asker.door.token in headers["set-cookie"]
    cautions = [one for one in served.hub.get("notices") if one["level"] == "caution"]
    assert asker.enter(code)[0] == 403
    again = [one for one in served.hub.get("notices") if one["level"] == "caution"]
    assert len(again) == len(cautions) + 1, "people are told that two had the same link"
    assert asker.enter("x" * 43)[0] == 403
    assert [one for one in served.hub.get("notices") if one["level"] == "caution"] == again
    assert asker.enter(asker.door.token)[0] == 403, "the token itself is no code"


def test_a_page_makes_links_for_other_devices(serve: Serve) -> None:
    asker = Asker(serve(rig=QUICK_RIG))
    assert asker.ask("POST", "/link", b"{}", Cookie=None)[0] == 403
    status, _, body = asker.ask("POST", "/link", b"{}")
    link = json.loads(body)["link"]
    assert status == 200 and link.startswith(asker.door.address)
    assert asker.enter(link.partition("#")[2])[0] == 204


def test_a_second_browser_needs_a_link_of_its_own(serve: Serve, open_page: Open) -> None:
    served = serve(rig=QUICK_RIG)
    link = served.link
    first = open_page(link)
    wait_ready(first)
    assert "#" not in first.url
    second = open_page(link, quiet=False)
    expect(second.get_by_label("Link")).to_be_visible()
    first.get_by_text("Series, single drop").click()
    first.get_by_role("button", name="Link for another device").click()
    field = first.get_by_role("textbox", name="Link")
    expect(field).to_have_value(re.compile(r"#[A-Za-z0-9_-]{40,}$"))
    second.get_by_label("Link").fill(field.input_value())
    second.get_by_role("button", name="Open").click()
    wait_ready(second)

"""Another web site must not be able to release drops or read the log, and what it writes is text.

The browser's own rules are part of the defence, so the attacks are made by a browser: from a page of
another port (for cookies the same site), of another site, and by a name that was turned to this computer.
"""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest
from page_helpers import QUICK_RIG, Asker, Open, OpenReady, Serve, expect, read_script, wait_ready
from tiers import in_full

ATTACK = read_script("attack")


class _Hostile(BaseHTTPRequestHandler):
    def do_GET(self) -> None:
        body = b"<!doctype html><title>hostile</title><body>Nothing to see.</body>"
        self.send_response(200)
        self.send_header("content-type", "text/html")
        self.send_header("content-length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, *_: object) -> None:
        pass


@pytest.fixture
def hostile_port() -> Iterator[int]:
    server = ThreadingHTTPServer(("127.0.0.1", 0), _Hostile)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield server.server_address[1]
    server.shutdown()
    server.server_close()


@pytest.mark.parametrize("site", ["127.0.0.1", *in_full("rebound.test")])
@pytest.mark.quick
def test_pages_of_other_sites_neither_act_nor_read(
    open_ready: OpenReady, open_page: Open, hostile_port: int, site: str
) -> None:
    served, page = open_ready()  # the browser has the token's cookie now
    page.keyboard.press("a")
    expect(page.locator("#release")).to_be_enabled()
    job = served.hub.get("job")["id"]
    hostile = open_page(f"http://{site}:{hostile_port}/", quiet=False, context=page.context)
    tried = hostile.evaluate(ATTACK, served.origin)
    assert {name: tried[name] for name in tried if tried[name] != "refused"} in (
        {"frame": "foreign", "form": "sent"},
        {"frame": "no answer", "form": "sent"},
    )
    hostile.wait_for_timeout(500)
    assert served.hub.get("job")["id"] == job, "nothing was begun"
    assert served.hub.get("shot") is None
    assert served.hub.get("armed") is not None, "nothing was aborted either"
    # The page itself still works: the attack has not locked anybody out.
    page.keyboard.press("r")
    expect(page.locator("#state")).to_have_text("fired")


def test_a_name_turned_to_this_computer_gets_nothing(serve: Serve, open_page: Open) -> None:
    """DNS rebinding: the browser takes the attacker's name for this server's; the Host header gives it away."""
    served = serve(rig=QUICK_RIG)
    port = served.server.door.port
    page = open_page(
        f"http://rebound.test:{port}/#{served.server.door.codes.make(60)}", quiet=False
    )
    expect(page.locator("body")).to_contain_text("does not have that name")


@pytest.fixture
def asker(serve: Serve) -> Asker:
    served = serve(rig=QUICK_RIG)
    served.wait(lambda: served.hub.get("plan"))
    return Asker(served)


def test_every_door_is_shut_without_the_token(asker: Asker) -> None:
    for path in (
        "/shots",
        "/shots/1",
        "/shots/1/picture",
        "/series",
        "/series/1",
        "/compare/1/2",
        "/rig.toml",
    ):
        assert asker.ask("GET", path, Cookie=None)[0] == 403, path
        assert asker.ask("GET", path, Cookie=f"{asker.cookie[:-2]}xx")[0] == 403, path
    assert asker.ask("POST", "/do/arm", b"{}", Cookie=None)[0] == 403
    assert asker.ask("POST", "/enter", b'{"code": "guess"}', Cookie=None)[0] == 403
    assert asker.ask("GET", "/shots")[0] == 200


def test_cookies_of_other_programs_on_this_computer_lock_nobody_out(asker: Asker) -> None:
    """Cookies know no ports (RFC 6265, section 8.5): what any other local server has set comes along."""
    name, _, token = asker.cookie.partition("=")
    for others in ('prefs={"a":1,"b":[2, 3]}; ', "odd; ", "=; ", 'q="unended; ', "x=\xe9\xff; ", "a b=c d; ",
                   f"{name}x={token}; ", f"x{name}=1; ", f"{name}=other; ", "x==;;; "):  # fmt: skip
        assert asker.ask("GET", "/shots", Cookie=f"{others}{asker.cookie}")[0] == 200, others
        assert asker.ask("GET", "/shots", Cookie=f"{asker.cookie}; {others}")[0] == 200, others
    for wrong in (f"{name}x={token}", f"x{name}={token}", f"x={asker.cookie}", f"{name}={token}x", f"{name}=",
                  f"{name.upper()}={token}", f'prefs={{"{name}":"{token}"}}', ""):  # fmt: skip
        assert asker.ask("GET", "/shots", Cookie=wrong)[0] == 403, wrong


def test_nothing_acts_by_get(asker: Asker) -> None:
    for command in (
        "abort",
        "arm",
        "release",
        "drip",
        "rinse",
        "flash",
        "sweep",
        "seek",
        "rate",
        "note",
        "edit",
    ):
        assert asker.ask("GET", f"/do/{command}?shot=1")[0] == 405
    for method in ("PUT", "DELETE", "PATCH", "OPTIONS"):
        assert asker.ask(method, "/do/arm", b"{}")[0] == 405


def test_host_and_origin_must_be_this_server(asker: Asker) -> None:
    good = asker.host
    for host in ("evil.test", f"evil.test:{asker.port}", f"127.0.0.1.evil.test:{asker.port}", "127.0.0.1",
                 f"127.0.0.1:{asker.port + 1}", f"localhost.evil.test:{asker.port}", "", f"{good}, {good}",
                 f"10.0.0.1:{asker.port}", f"user@127.0.0.1:{asker.port}", "127.0.0.1:", "127.0.0.1:" + "9" * 5000,
                 f"[::1:{asker.port}", f"127.0.0.1:{asker.port}/x", f"127.0.0.1:{asker.port}?x",
                 "[::1]]:1"):  # fmt: skip
        assert asker.ask("GET", "/shots", Host=host, Origin=None)[0] in (400, 403), host
    for name in ("localhost", "127.0.0.1", "127.0.0.2", "[::1]"):
        assert asker.ask("GET", "/shots", Host=f"{name}:{asker.port}", Origin=None)[0] == 200, name
    for origin in ("http://evil.test", "null", f"https://{good}", f"http://127.0.0.1:{asker.port + 1}",
                   f"http://localhost:{asker.port}", f"http://{good}.evil.test", ""):  # fmt: skip
        assert asker.ask("POST", "/do/abort", b"{}", Origin=origin)[0] == 403, origin
        assert asker.ask("GET", "/shots", Origin=origin)[0] == 403, origin
    assert asker.ask("POST", "/do/abort", b"{}", Origin=None)[0] == 403, (
        "what acts must say its origin"
    )
    for site in ("cross-site", "same-site"):
        assert asker.ask("GET", "/shots", Origin=None, Sec_Fetch_Site=site)[0] == 403


def test_sizes_types_and_arguments_have_limits(asker: Asker) -> None:
    large = json.dumps({"text": "x" * 70_000}).encode()
    assert asker.ask("POST", "/do/note", large)[0] == 413
    assert asker.ask("POST", "/do/note", large, Transfer_Encoding="chunked")[0] in (0, 413)
    assert asker.ask("POST", "/do/arm", b"{}", Content_Type="text/plain")[0] == 415
    assert asker.ask("POST", "/do/arm", b"{}", Content_Type=None)[0] == 415
    assert asker.ask("GET", "/shots?" + "x" * 70_000)[0] in (0, 400, 414, 431)
    for body in (b'{"shot": "1"}', b'{"shot": 1, "rating": true}',
                 b'{"shot": 1, "rating": 9, "more": 1}', b'{"shot": 1e400, "rating": 1}'):  # fmt: skip
        assert asker.ask("POST", "/do/rate", body)[0] == 422, body[:40]
    for body in (b"[" * 60_000, b"\xff\xfe"):
        assert asker.ask("POST", "/do/rate", body)[0] == 400, body[:40]
    assert asker.ask("POST", "/do/release", b'{"count": 100000}')[0] == 422
    assert asker.ask("POST", "/do/__class__", b"{}")[0] == 404
    assert asker.ask("POST", "/do/edit", b'{"path": "valve[1].__class__", "text": "x"}')[0] == 422


def test_only_the_pages_own_files_are_served(asker: Asker) -> None:
    for path in ("/static/../app.py", "/static/%2e%2e/app.py", "/static/..%2fapp.py", "/static//etc/passwd",
                 "/static/%2fetc%2fpasswd", "/static/", "/static/..\\app.py"):  # fmt: skip
        status, _, body = asker.ask("GET", path)
        assert status == 404 and b"import" not in body, path


def test_answers_say_that_nothing_from_elsewhere_may_run_or_look(asker: Asker) -> None:
    for path in ("/", "/static/main.js", "/shots", "/nowhere"):
        _, headers, _ = asker.ask("GET", path)
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy and "unsafe" not in policy and "*" not in policy
        assert "frame-ancestors 'none'" in policy
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["cross-origin-resource-policy"] == "same-origin"
        assert not any(name.startswith("access-control") for name in headers), path
    status, headers, _ = asker.enter(asker.door.codes.make(60))
    assert status == 204
    assert (
        "httponly" in headers["set-cookie"].lower()
        and "samesite=strict" in headers["set-cookie"].lower()
    )


MARKUP = "<img src=x onerror=document.title='owned'><b>bold</b>"


def test_what_a_rig_file_or_a_note_holds_is_text(open_ready: OpenReady) -> None:
    served, page = open_ready(rig=QUICK_RIG.replace("quick invented rig", MARKUP.replace('"', "'")))
    page.keyboard.press("a")
    expect(page.locator("#release")).to_be_enabled()
    page.keyboard.press("r")
    expect(page.locator("#state")).to_have_text("fired")
    served.wait(lambda: (served.hub.get("shot") or {}).get("picture"))
    for view in ("rig", "log/1", "bench", "repeatability"):
        page.goto(f"{served.origin}/#{view}")
        page.wait_for_timeout(400)
        assert page.locator("main b", has_text="bold").count() == 0
        assert "owned" not in page.title()
    page.goto(f"{served.origin}/#log/1")
    expect(page.locator(".detail dd", has_text="<b>bold</b>")).to_be_visible()


def test_the_page_loads_nothing_from_elsewhere(serve: Serve, open_page: Open) -> None:
    served = serve(rig=QUICK_RIG)
    page = open_page("about:blank")
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto(served.link)
    wait_ready(page)
    for view in ("rig", "sweep", "seek", "check", "calibrate", "log", "repeatability"):
        page.goto(f"{served.origin}/#{view}")
        page.wait_for_timeout(150)
    assert len(asked) > 10
    assert [url for url in asked if not url.startswith((f"{served.origin}/", "about:"))] == []

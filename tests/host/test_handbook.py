"""The handbook: every command in it runs, every link in it leads somewhere, the page shows it as HTML."""

from __future__ import annotations

import re
import shlex
import shutil
from pathlib import Path

import pytest

from beamfall.cli import main
from beamfall.errors import UserError
from beamfall.handbook import DRAWINGS, FOLDER, PICTURES, TOPICS, read_topic
from beamfall.page.handbook import make_page
from beamfall.setup.rig import EXAMPLE
from beamfall.setup.rig_tables import list_all_keys

# These open a port: in the tests, that of a simulated rig.
WITH_PORT = {"shoot", "seek", "sweep", "drip", "rinse", "flash", "beam", "check", "calibrate"}


def list_examples(topic: str) -> list[str]:
    blocks = re.findall(r"```console\n(.*?)```", read_topic(topic), re.DOTALL)
    return [line for block in blocks for line in block.splitlines() if line.strip()]


@pytest.mark.full
@pytest.mark.parametrize("topic", [topic for topic in TOPICS if list_examples(topic)])
def test_the_commands_of_a_page_run_in_its_order(
    topic: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    shutil.copy(EXAMPLE, "my_rig.toml")
    # Pages about the log need one.
    assert main(["shoot", "my_rig.toml", "--port", "sim", "--json"]) == 0
    for line in list_examples(topic):
        name, *words = shlex.split(line)
        assert name == "beamfall", line
        port = (
            ["--port", "sim"] if words[0] in WITH_PORT or words[:2] == ["shots", "repeat"] else []
        )
        assert main([*words, *port]) == 0, f"{line}: {capsys.readouterr().err}"


def test_help_for_a_topic_names_only_topics_that_exist() -> None:
    for topic in TOPICS:
        for named in re.findall(r"`beamfall help ([a-z-]+)`", read_topic(topic)):
            assert named in TOPICS


def test_the_page_about_the_rig_file_has_every_key() -> None:
    text = read_topic("rig-file")
    assert all(f"`{one.key}`" in text for one in list_all_keys())


def test_the_page_about_commands_has_every_option_of_shoot(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["help", "commands"]) == 0
    printed = capsys.readouterr().out
    section = printed.partition("## beamfall shoot")[2].partition("## beamfall")[0]
    assert main(["shoot", "--help"]) == 0
    options = set(re.findall(r"--[a-z-]+", capsys.readouterr().out)) - {"--help"}
    assert options and all(option in section for option in options)


@pytest.mark.parametrize("topic", TOPICS)
def test_a_page_becomes_html_without_scripts(topic: str) -> None:
    html = make_page(topic)
    assert html.count("<h1>") == 1
    assert "<script>" not in html and "{{" not in html


def test_every_picture_of_a_page_is_there() -> None:
    named = {
        name for topic in TOPICS for name in re.findall(r"!\[.*?\]\(([^)]*)\)", read_topic(topic))
    }
    assert named == {*PICTURES, *DRAWINGS}
    assert all((FOLDER / name).stat().st_size < 100_000 for name in PICTURES)


def test_a_drawing_is_in_the_page_itself_and_in_characters_in_a_terminal(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    html = make_page("beam")
    assert html.count("<svg ") == 1 and "<img" not in html
    assert ">beam height</text>" in html
    monkeypatch.setattr("sys.stdout.isatty", lambda: True)
    assert main(["help", "beam"]) == 0
    printed = capsys.readouterr().out
    assert "[>- - -<]" in printed and "beam.svg" not in printed
    assert main(["help", "pictures"]) == 0
    assert (FOLDER / "umbrella.jpg").as_uri() in capsys.readouterr().out.replace("\n", "")


def test_a_page_that_does_not_exist() -> None:
    with pytest.raises(UserError):
        read_topic("../errors")
    assert main(["help", "no-such-page"]) == 2

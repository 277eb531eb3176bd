"""What the documents say can be typed: every command and every option that one of them names exists."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from beamfall.cli.help import describe_commands
from beamfall.handbook import COMMANDS, TOPICS, read_topic

ROOT = Path(__file__).resolve().parents[2]
DOCUMENTS = {
    str(path.relative_to(ROOT)): path
    for pattern in ("*.md", "firmware/**/*.md", "hardware/**/*.md", "protocol/*.md", "host/**/*.md")
    for path in sorted(ROOT.glob(pattern))
}
OPTIONS = {
    section.partition("\n")[0].partition(" [")[0].partition(" {")[0]: {
        *re.findall(r"--[a-z][a-z-]*", section),
        "--help",
    }
    for section in describe_commands().split("\n## beamfall ")[1:]
}
BEFORE_COMMAND = {"--help", "--version", "--verbose", "--trace"}


def find_commands(text: str) -> Iterator[list[str]]:
    """The words after `beamfall` of each command, in a line of code or on a line of its own."""
    for inline, line in re.findall(r"`([^`\n]+)`|^([^`\n]+)$", text, re.MULTILINE):
        for part in re.split(r"&&|;|\|", inline or line):
            found = re.match(r"\s*(?:\S*[/\\])?beamfall +(\S.*)", part.partition(" # ")[0])
            if found:
                yield found[1].rstrip(".,:").split()


def judge(words: list[str]) -> str:
    """What is wrong with a command, or ''."""
    while words and words[0] in BEFORE_COMMAND:
        words = words[2:] if words[0] == "--trace" else words[1:]
    if not words or not re.fullmatch("[a-z]+", words[0]):
        return ""  # a sentence, or a word that stands for any command
    title = next((" ".join(words[:n]) for n in (3, 2, 1) if " ".join(words[:n]) in OPTIONS), None)
    if title is None:
        more = [word for word in words[1:] if re.fullmatch("[a-z]+", word)]
        is_group = any(one.startswith(f"{words[0]} ") for one in OPTIONS)
        return "" if is_group and not more else f"no command: {' '.join(words)}"
    given = {word.partition("=")[0] for word in words if re.match("--[a-z]", word)}
    unknown = sorted(given - OPTIONS[title])
    return f"{title} has no {', '.join(unknown)}" if unknown else ""


@pytest.mark.parametrize("name", DOCUMENTS)
def test_commands_and_options_that_a_document_names_exist(name: str) -> None:
    commands = list(find_commands(DOCUMENTS[name].read_text(encoding="utf-8")))
    assert not [wrong for words in commands if (wrong := judge(words))]
    assert commands or name != "README.md"


@pytest.mark.parametrize("topic", sorted({*TOPICS} - {COMMANDS}))
def test_commands_and_options_that_a_page_of_the_handbook_names_exist(topic: str) -> None:
    assert not [wrong for words in find_commands(read_topic(topic)) if (wrong := judge(words))]


@pytest.mark.parametrize("line", ["shots sho 1", "shoot --cuont 3", "shots", "recipe usr x.zip"])
def test_a_command_that_does_not_exist_is_noticed(line: str) -> None:
    assert (judge(line.split()) == "") == (line == "shots")

"""The answers so far, the next question, and the rig file that the answers make.

A walk is a value: each answer gives a new one. So a page keeps only the answers that were typed, and going back
is dropping the last.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from beamfall.errors import RigFileError, UnitError, UserError
from beamfall.guide.questions import BY_KEY, HAS_CAMERA, NONE, QUESTIONS, GuideQuestion
from beamfall.planning.setting import compute_drop, make_setting
from beamfall.setup.rig import Rig, parse_rig
from beamfall.setup.rig_tables import TABLES, find_table, list_keys
from beamfall.setup.units import parse_length, quote

_TEXT_MOST = 200
_HEAD = (
    "A rig for Beamfall, made by answering its guide.",
    "Quantities are text with a unit. Heights are measured from the surface of the liquid.",
    "`beamfall rig keys` lists every key; `beamfall rig check` looks for what is missing or doubtful.",
)
# Not asked, but a file should have it: a satellite right behind a drop is not another drop.
_UNASKED: dict[str, dict[str, Any]] = {
    "valve": {"output": "valve1"},
    "beam": {"input": "beam1", "width": "1 mm", "blanking": "20 ms"},
    "flash": {"output": "flash1"},
}


@dataclass(frozen=True)
class Walk:
    """A walk through the rig. `answers` are the texts that were typed, by the key of their question."""

    name: str
    answers: Mapping[str, str] = field(default_factory=dict)

    @property
    def questions(self) -> tuple[GuideQuestion, ...]:
        """The questions of this walk: those about a camera only if there is one."""
        camera = self.answers.get(HAS_CAMERA, "yes").strip().lower() or "yes"
        with_camera = "yes".startswith(camera)
        return tuple(one for one in QUESTIONS if with_camera or not one.only_with_camera)

    @property
    def question(self) -> GuideQuestion | None:
        """The first question without an answer; None at the end."""
        return next((one for one in self.questions if one.key not in self.answers), None)

    def suggest(self, question: GuideQuestion) -> str:
        """The answer of somebody who presses Enter."""
        return question.suggest(self._compose(upto=question.key)[1])

    def answer(self, key: str, text: str) -> Walk:
        """Return the walk with one question answered; an empty text takes the suggestion.

        Raises UserError if the answer cannot be read or does not fit, with the cure.
        """
        question = BY_KEY.get(key)
        if question is None:
            raise UserError(f"{quote(key)}: there is no such question")
        if len(text) > _TEXT_MOST:
            raise UserError(f"This answer has more than {_TEXT_MOST} characters; shorten it")
        walk = Walk(self.name, {**self.answers, key: text.strip() or self.suggest(question)})
        walk._compose(upto=key, including=True)
        return walk

    def back(self) -> Walk:
        """Return the walk without its last answer."""
        given = [one.key for one in self.questions if one.key in self.answers]
        return Walk(self.name, {key: self.answers[key] for key in given[:-1]})

    def make_rig(self) -> Rig:
        """The rig of the answers so far; suggestions take the place of what was not asked yet."""
        return self._compose()[1]

    def make_file(self) -> str:
        """The rig file, each key with its meaning as a comment."""
        import tomlkit

        content, rig = self._compose()
        lines = tomlkit.document()
        for text in _HEAD:
            lines.add(tomlkit.comment(text))
        lines.add(tomlkit.nl())
        lines["name"] = rig.name
        for table in TABLES:
            if table.name not in content:
                continue
            entry = _entry(content, table.name)
            body = tomlkit.table()
            for key in list_keys(table):
                if key.key in entry:
                    body[key.key] = _write(entry[key.key])
                    body[key.key].comment(key.meaning)
            if table.many:
                several = tomlkit.aot()
                several.append(body)
                lines[table.name] = several
            else:
                lines[table.name] = body
        return tomlkit.dumps(lines)

    def _compose(self, upto: str = "", including: bool = False) -> tuple[dict[str, Any], Rig]:
        """The content of a rig file and its rig: answers as far as `upto`, suggestions for the rest.

        Raises UserError for the first answer that does not fit.
        """
        content: dict[str, Any] = {name: [dict(entry)] for name, entry in _UNASKED.items()}
        for question in QUESTIONS:  # all of them, so that the rig is complete
            content.setdefault(question.key.partition("[")[0].partition(".")[0], {})
        del content[HAS_CAMERA]
        rig = _parse(_with_suggestions(content), self.name)
        past = False
        for question in self.questions:
            stops = question.key == upto
            if past or (stops and not including):
                break
            text = self.answers.get(question.key)
            if text is not None:
                _put(content, question, text, rig)
                rig = self._check(content, question)
            past = stops
        whole = content if upto else _with_suggestions(content)
        return {key: value for key, value in whole.items() if value}, rig

    def _check(self, content: Mapping[str, Any], question: GuideQuestion) -> Rig:
        try:
            rig = _parse(_with_suggestions(content), self.name)
        except RigFileError as error:
            own = [one for one in error.problems if one.key.startswith(question.key)]
            first = (own or list(error.problems))[0]
            said = first.text.removeprefix(f"{question.key.replace('[1]', '')} = ")
            raise UnitError(said, key=first.key, likely=first.likely) from error
        setting = make_setting(rig)  # refuses a liquid that it does not know
        if question.key == "valve[1].opening":
            compute_drop(rig.valves[0], setting)
        return rig


def _write(value: Any) -> Any:
    """A value as tomlkit holds it; parts of a liquid on one line."""
    import tomlkit

    if not isinstance(value, dict):
        return tomlkit.item(value)
    line = tomlkit.inline_table()
    line.update(value)
    return line


def _parse(content: Mapping[str, Any], name: str) -> Rig:
    return parse_rig({"name": name, **content}, "the guide")


def _entry(content: Mapping[str, Any], table: str) -> dict[str, Any]:
    found = content[table]
    entry: dict[str, Any] = found[0] if isinstance(found, list) else found
    return entry


def _put(content: dict[str, Any], question: GuideQuestion, text: str, rig: Rig) -> None:
    """Set what an answer says."""
    value = None if question.read is None else question.read(text, rig)
    if question.key == HAS_CAMERA:
        return
    table, _, key = question.key.replace("[1]", "").partition(".")
    entry = _entry(content, table)
    if not key:  # the liquid: a name or its parts, and what thickens it
        for old in ("name", "parts", "grams"):
            entry.pop(old, None)
        entry.update(value or {})
    elif text.lower() == NONE and not _is_needed(table, key):
        entry.pop(key, None)
    else:
        entry[key] = text if value is None else value


def _is_needed(table: str, key: str) -> bool:
    found = find_table(table)
    return found is not None and any(one.key == key and one.needed for one in list_keys(found))


def _with_suggestions(content: Mapping[str, Any]) -> dict[str, Any]:
    """The content with what must be there: the usual heights in the proportion of the nozzle's."""
    valve = {
        "height": "60 cm",
        "bore": "2.5 mm",
        "head": "5 cm",
        "opening": "26 ms",
        "latency": "35 ms",
    }
    valve.update(content["valve"][0])
    beam = {"height": "47 cm", **content["beam"][0]}
    if "height" in content["valve"][0] and "height" not in content["beam"][0]:
        beam["height"] = f"{78.0 * parse_length(valve['height']):.4g} cm"
    without_camera = {name: entry for name, entry in content.items() if name != "camera" or entry}
    return {
        **without_camera,
        "valve": [valve],
        "beam": [beam],
        "dish": {"depth": "25 mm", **content["dish"]},
    }

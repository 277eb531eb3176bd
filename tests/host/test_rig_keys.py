"""Every key of a rig file is described in one place, for the page's form and for `beamfall rig keys`."""

from __future__ import annotations

import json
import subprocess
import sys
import tomllib

import pytest
import tomlkit
from typer.testing import CliRunner

from beamfall.cli.app import app
from beamfall.errors import RigFileError
from beamfall.handbook import read_topic
from beamfall.page import rig_form
from beamfall.setup.rig import EXAMPLE, parse_rig
from beamfall.setup.rig_tables import TABLES, RigKey, list_all_keys
from beamfall.setup.unit_kinds import KINDS

KEYS = list_all_keys()


def name(key: RigKey) -> str:
    return f"{key.table}.{key.key}"


@pytest.mark.parametrize("key", KEYS, ids=name)
def test_each_key_says_what_it_means_and_shows_a_value_that_it_takes(key: RigKey) -> None:
    assert key.meaning and key.expected
    assert "_m" not in key.meaning and "_s" not in key.meaning, "people write no SI suffixes"
    if key.rule.kind in KINDS:
        assert key.example, "somebody who writes a quantity sees one"
        si = key.rule.read(key.key, key.example)
        assert key.rule.low <= si <= key.rule.high


def test_page_handbook_and_errors_describe_each_key_in_the_same_words() -> None:
    """One description of a key, in its definition; `rig keys` is tested below."""
    content = tomlkit.document()
    for table in TABLES:
        content[table.name] = [{}] if table.many else {}
    form = rig_form.describe_form(content, [])
    fields = {
        (section["path"].partition("[")[0], field["path"].rpartition(".")[2]): field
        for section in form
        for field in section["fields"]
    }
    handbook = read_topic("rig-file")
    for key in KEYS:
        assert f"`{key.key}`: {key.meaning}" in handbook, name(key)
        if key.table:
            field = fields[key.table, key.key]
            assert field["help"] == key.meaning, name(key)
            assert bool(field["limits"]) == (key.rule.low != key.rule.high), name(key)
            assert field["limits"] in key.expected, name(key)
    empty = {table.name: [{}] if table.many else {} for table in TABLES}
    with pytest.raises(RigFileError) as caught:
        parse_rig(empty, "a file")
    missing = {problem.key: problem.text for problem in caught.value.problems}
    for key in KEYS:
        if key.needed:
            place = next(one for one in missing if one.replace("[1]", "") == name(key))
            assert key.meaning in missing[place], name(key)


def test_the_listing_has_every_key_of_the_example_and_every_field() -> None:
    listed = {(key.table, key.key) for key in KEYS}
    content = tomllib.loads(EXAMPLE.read_text(encoding="utf-8"))
    for table, value in content.items():
        entries = value if isinstance(value, list) else [value]
        keys = {(table, key) for entry in entries if isinstance(entry, dict) for key in entry}
        assert (keys or {("", table)}) <= listed
    assert len(KEYS) == 2 + sum(len(table.kind.__dataclass_fields__) for table in TABLES)


def test_the_command_prints_each_key_with_meaning_range_and_default() -> None:
    printed = CliRunner().invoke(app, ["rig", "keys"])
    assert printed.exit_code == 0
    lines = printed.output.splitlines()
    for key in KEYS:
        found = [line for line in lines if line.split()[:1] == [key.key] and key.meaning in line]
        assert found and any(key.expected in line for line in found), name(key)
        assert any(
            (key.default or ("required" if key.needed else "none")) in line for line in found
        )
    result = json.loads(CliRunner().invoke(app, ["rig", "keys", "valve", "--json"]).output)
    height = next(one for one in result["keys"] if one["key"] == "height")
    assert (height["unit"], height["low"], height["high"], height["needed"]) == (
        "m",
        0.02,
        5.0,
        True,
    )
    assert {one["table"] for one in result["keys"]} == {"valve"}


def test_a_drop_added_in_the_form_is_one_more_than_fell_before() -> None:
    content = rig_form.add(rig_form.read_content(None), "drop")
    rig, problems = rig_form.check(content)
    assert problems == () and rig is not None
    assert len(rig.drops) == rig.aim.drops == 3
    rig, _ = rig_form.check(rig_form.edit(content, "drop[3].opening", "24 ms"))
    assert rig is not None and rig.list_drops()[2].opening_s == 0.024
    rig, problems = rig_form.check(rig_form.add(content, "firing"))
    assert problems == () and rig is not None and len(rig.firings) == 1


def test_python_without_docstrings_describes_them_alike() -> None:
    """`python -OO` drops the docstrings; what users read is data."""
    plain, stripped = (
        subprocess.run(
            [sys.executable, *flags, "-m", "beamfall", "rig", "keys"],
            capture_output=True,
            encoding="utf-8",
            check=True,
        ).stdout
        for flags in ((), ("-OO",))
    )
    assert plain == stripped and TABLES[0].meaning in plain

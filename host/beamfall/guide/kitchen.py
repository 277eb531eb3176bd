"""Liquids in the words of a kitchen: `3 water, 1 glycerol`, `water with half a teaspoon of xanthan in a litre`."""

from __future__ import annotations

import difflib
import re

from beamfall.errors import UserError
from beamfall.physics.liquids import INGREDIENTS
from beamfall.physics.thickeners import TEASPOON_G, THICKENERS
from beamfall.setup.units import quote

_AMOUNT = r"(?:\d+\s*/\s*\d+|\d+(?:[.,]\d+)?)"
_PART = re.compile(rf"({_AMOUNT})\s*(?:parts?\s+(?:of\s+)?)?([a-z][a-z ]*)", re.IGNORECASE)
_SPOONS = {"teaspoon": 1.0, "tsp": 1.0, "tablespoon": 3.0, "tbsp": 3.0}  # in teaspoons
_VOLUMES_ML = {"l": 1000.0, "litre": 1000.0, "liter": 1000.0, "ml": 1.0, "dl": 100.0, "cl": 10.0}
_WORDS = {
    "half a": "1/2 ", "a half": "1/2 ", "half": "1/2 ", "quarter of a": "1/4 ", "a quarter": "1/4 ",
    "quarter": "1/4 ", "½": "1/2 ", "¼": "1/4 ", "¾": "3/4 ", "one": "1 ", "two": "2 ", "three": "3 ", "a": "1 ",
}  # fmt: skip
_SPOKEN = re.compile(
    r"(?<![a-z])(?:a\s+)?(" + "|".join(sorted(_WORDS, key=len, reverse=True)) + r")(?![a-z])"
)
_GUM = re.compile(
    rf"({_AMOUNT})?\s*(?:level\s+)?({'|'.join([*_SPOONS, 'grams?', 'g'])})s?\s+(?:of\s+)?"
    rf"({'|'.join(THICKENERS)})(?:\s+gum)?\s*(?:in|per|to|for|/)\s*(?:each\s+)?({_AMOUNT})?\s*"
    rf"({'|'.join(_VOLUMES_ML)})s?(?:\s+(?:of\s+)?(?:the\s+)?([a-z ]+))?"
)
# Words about a liquid that change nothing here; for milk the usual density and viscosity are used anyway.
_PLAIN = re.compile(
    r"\b(?:tap|distilled|demineralised|filtered|plain|fresh|cold|whole|skimmed|semi-skimmed|full-fat|low-fat|some)\s+"
)
# A little of it counts as water, so nobody has to say how much.
_COLOUR = re.compile(
    rf"(?:(?:{_AMOUNT}\s*)?(?:few\s+|couple\s+of\s+)?drops?\s+of\s+|some\s+)?"
    r"(?:food\s+)?(?:colou?r(?:ing)?|dye|ink)"
)
_BEFORE_AMOUNT = re.compile(rf"\s+(?={_AMOUNT}\s*[a-z])")
_GUM_EXAMPLE = "water with half a teaspoon of xanthan in a litre"


def read_liquid(text: str) -> dict[str, str | dict[str, float]]:
    """Return the keys of [liquid] that a text says: `name` or `parts`, and `grams` in 100 mL where there is a gum.

    A spoon is level (see `physics.thickeners`). Raises UserError for what cannot be read.
    """
    spoken = _SPOKEN.sub(lambda found: _WORDS[found[1]], text.strip().lower())
    pieces = [
        piece.strip()
        for piece in re.split(r"\s*[,;+]\s+|\s+and\s+|\s+with\s+|\s*[;+]\s*", spoken)
        if piece.strip()
    ]
    grams: dict[str, float] = {}
    rest: list[str] = []
    for piece in pieces:
        gum = _GUM.fullmatch(piece)
        if gum is not None:
            grams[gum[3]] = _read_dose(gum)
            rest += [gum[6].strip()] if gum[6] else []
        elif any(name in piece.split() for name in THICKENERS):
            raise UserError(
                f"{quote(piece)}: write it like {_GUM_EXAMPLE}, or 2 g of guar in 500 ml"
            )
        else:
            rest.append(piece)
    found = _read_base([one for one in rest if not _COLOUR.fullmatch(one)] or rest)
    return {**found, "grams": grams} if grams else found


def _read_dose(gum: re.Match[str]) -> float:
    """Grams in 100 mL."""
    unit, name = gum[2], gum[3]
    each = _SPOONS[unit] * TEASPOON_G[name] if unit in _SPOONS else 1.0
    ml = _read_amount(gum[4] or "1") * _VOLUMES_ML[gum[5]]
    if not ml:
        raise UserError(f"{quote(gum[0])}: in how much liquid? Write it like {_GUM_EXAMPLE}")
    return round(100.0 * _read_amount(gum[1] or "1") * each / ml, 4)


def _read_base(pieces: list[str]) -> dict[str, str | dict[str, float]]:
    """What is left without gums. Parts may follow each other without a comma: `1 water 2 milk`."""
    parts = [
        part for piece in pieces for part in _BEFORE_AMOUNT.split(_PLAIN.sub("", piece).strip())
    ]
    if not any(parts):
        return {"name": "water"}
    matches = [_PART.fullmatch(part) for part in parts]
    if not any(matches):
        names = list(dict.fromkeys(parts))
        if len(names) > 1:
            mixed_text = ", ".join(f"1 {name}" for name in names)
            raise UserError(
                f"{quote(' and '.join(names))}: how much of each? Write parts by volume, such as {mixed_text}"
            )
        return {"name": _find_ingredient(names[0])}
    mixed: dict[str, float] = {}
    for part, match in zip(parts, matches, strict=True):
        if match is None:
            raise UserError(
                f"{quote(part)}: write each part as a number and a name, such as 3 water, 1 glycerol"
            )
        mixed[_find_ingredient(match[2].strip())] = _read_amount(match[1])
    return {"parts": mixed}


def _find_ingredient(name: str) -> str:
    """The name as it is known; raises UserError with the likely meaning."""
    if name in INGREDIENTS:
        return name
    near = difflib.get_close_matches(name, INGREDIENTS, n=1, cutoff=0.6)
    near += [one for one in INGREDIENTS if one in name.split()]
    hint = f"did you mean {near[0]}? " if near else ""
    raise UserError(f"{quote(name)}: {hint}Known are {', '.join((*INGREDIENTS, *THICKENERS))}")


def _read_amount(text: str) -> float:
    over, _, under = text.replace(",", ".").partition("/")
    if under and not float(under):
        raise UserError(f"{quote(text)}: this divides by 0; write another number")
    return float(over) / float(under or 1.0)

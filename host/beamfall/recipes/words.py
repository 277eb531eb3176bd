"""A recipe and its day in words, the same on the terminal and the page."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from beamfall.physics.splash import OF_THE_JET
from beamfall.recipes.recipe import Events, Recipe
from beamfall.setup.unit_words import format_ms, format_quantity

if TYPE_CHECKING:
    from beamfall.recipes.day import Correction
    from beamfall.recipes.events import Carried

CORRECT = "Correct the shot for today?"
FROM_OTHERS = "Made on another rig, and its timings are right only there. Seek it on this rig before you fire it."


def say_picture(events: Events | None) -> str:
    """What the picture shows, in a few words."""
    if events is None:
        return ""
    if events.stage_s is None:
        return events.kind
    return f"{events.drops} drops, {events.stage_s * 1e3:+.1f} ms"


def list_measured(recipe: Recipe) -> list[tuple[str, str]]:
    """What was measured in a recipe's photograph, as names and values."""
    one = recipe.measured
    if one is None:
        return []
    lengths = (
        ("jet", one.jet_m), ("falling drop's height", one.drop_m), ("umbrella's width", one.umbrella_m),
        ("umbrella's height", one.umbrella_height_m), ("crown's height", one.crown_m),
    )  # fmt: skip
    found = [
        (f"{name}, measured", f"{value * 1e3:.1f} mm")
        for name, value in lengths
        if value is not None
    ]
    if one.since_s is not None:
        found.append(("contact to light, measured", format_ms(one.since_s)))
    return found


def list_events(events: Events | None) -> list[tuple[str, str]]:
    """When things meet in a recipe, as names and values."""
    if events is None:
        return [("events", "unknown: the recipe has only its timings")]
    low, high = events.moment_low, events.moment_high
    if events.kind == "crown":
        return [
            (
                "crown",
                f"light {events.moment:.1f} drop diameters after impact ({low:.1f} to {high:.1f})",
            )
        ]
    share, span = f"{100 * events.moment:.0f} %", f"({100 * low:.0f} to {100 * high:.0f} %)"
    if events.kind == "cavity":
        return [("cavity", f"light at {share} of the time from impact to jet {span}")]
    share = f"{share} of its rise {span}"
    if events.kind in OF_THE_JET:
        return [(events.kind, f"light at {share}")]
    found = [("contact", f"drop 2 meets the jet at {share}")]
    if None not in (events.stage_s, events.stage_low_s, events.stage_high_s):
        stage, first, last = (
            1e3 * (value or 0.0)
            for value in (events.stage_s, events.stage_low_s, events.stage_high_s)
        )
        found.append(("stage", f"light {stage:.2f} ms after contact ({first:.2f} to {last:.2f})"))
    return found


def list_carried(recipe: Recipe, carried: Carried) -> list[tuple[str, str]]:
    """What a recipe becomes on another rig, each time with its interval, as names and values."""
    plan = carried.plan
    flash = plan.intervals.get("flash_delay_at_planned_spacing", plan.intervals["flash_delay"])
    pairs = [*list_events(recipe.events), ("rig", plan.rig_name)]
    if plan.spacing_s is not None:
        low_high = ""
        if carried.spacing is not None:
            low_high = f" ({carried.spacing.p5 * 1e3:.1f} to {carried.spacing.p95 * 1e3:.1f})"
        there = "" if recipe.spacing_s is None else f"; original {format_ms(recipe.spacing_s, 2)}"
        pairs.append(("spacing", f"{format_ms(plan.spacing_s, 2)}{low_high}{there}"))
    delay_s = recipe.flash_delay_s
    there = "" if delay_s is None else f"; original {format_ms(delay_s, 2)}"
    span = f"({flash.p5 * 1e3:.1f} to {flash.p95 * 1e3:.1f})"
    after = f"after {plan.anchor.describe()}"
    pairs.append(("flash", f"{format_ms(plan.flash_delay_s, 2)} {span} {after}{there}"))
    if carried.chance is not None:
        from beamfall.recipes.spacing import CLOSE_S  # numpy is slow to load

        chance = f"{100 * carried.chance:.0f} % chance"
        close = f"within {format_ms(CLOSE_S, 0)} of the recipe's stage"
        pairs.append(("first picture", f"{chance} that it is {close}"))
    return pairs


def is_from_others(recipe: Recipe) -> bool:
    """Whether a recipe came in a shared file: no shot of this log made it."""
    return recipe.home.shot is None


def list_day(recipe: Recipe, correction: Correction | None) -> Iterator[str]:
    """How today differs from the day of a recipe, and what that does to the shot."""
    if is_from_others(recipe):
        yield FROM_OTHERS
    if correction is None:
        yield "Today's drops cannot be compared with this recipe's, so it fires unchanged."
        return
    for one in correction.differences:
        then, now = (format_quantity(value, one.kind) for value in (one.then, one.now))
        yield f"{one.what}: {then} then, {now} today"
    if not correction.seen:
        yield "No drops were compared: the correction uses only what you entered."
    if not correction.is_needed:
        yield "The shot needs no correction."
        return
    yield say_correction(correction)


def say_correction(correction: Correction) -> str:
    """What the same picture needs today."""
    low, high = correction.delay.p5 * 1e3, correction.delay.p95 * 1e3
    return (
        f"For the same picture today: flash {_say_shift(correction.delay_s)} ({low:+.2f} to {high:+.2f} ms), "
        f"the second drop {_say_shift(correction.spacing_s)}"
    )


def _say_shift(seconds: float) -> str:
    return f"{abs(seconds) * 1e3:.2f} ms {'later' if seconds >= 0.0 else 'earlier'}"

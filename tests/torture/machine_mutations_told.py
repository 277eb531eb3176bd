"""Faults put into firmware and host library: edges and reports, slots and the button."""

from __future__ import annotations

from typing import Any

from machine_mutating import Patch, firmware, mutation, wire

from beamfall.link import Link
from beamfall.link.delivery import ReportOrder, Verdict
from beamfall.sim.firmware_modules import load_firmware


# -- edges and reports -------------------------------------------------------------------------------------------------
@mutation("the board leaves an edge out", "EdgeBuffer", "add")
def _lose_an_edge(original: Any, self: Any, signal: int, mark: int, ticks: int) -> None:
    if not (signal == 2 and mark & 1):
        original(self, signal, mark, ticks)


@mutation(
    "the board drops the last edge of a shot of more than six, and counts one less",
    "EdgeBuffer",
    "report",
)
def _lose_the_last_edge(original: Any, self: Any, activity: int, *args: int) -> None:
    if activity == wire().ACTIVITY_SHOT and self.count > 6:
        self.count -= 1
    original(self, activity, *args)


@mutation("the board changes the order of two edges", "EdgeBuffer", "report")
def _reorder_edges(original: Any, self: Any, *args: int) -> None:
    if self.count > 3:
        records = self._records
        records[6:12], records[12:18] = records[12:18], records[6:12]
    original(self, *args)


@mutation(
    "a watch leaves the last edge out of a full report, and counts one less", "Watch", "flush"
)
def _lose_a_watched_edge(original: Any, self: Any) -> None:
    self._edges.count = min(self._edges.count, wire().EDGES_PER_REPORT - 1)
    original(self)


@mutation("a watch forgets that its clock has come round", "Watch", "_place")
def _forget_a_turn(original: Any, self: Any, ticks: int, waiting: int) -> int:
    found: int = original(self, ticks, waiting)
    self._base = 0
    return found


@mutation("the board drops reports in silence", "ReportStore", "_forget_oldest")
def _drop_reports_in_silence(original: Any, self: Any) -> None:
    original(self)
    self.gap_first = 0


@mutation("the host takes reports that are ahead", ReportOrder, "take")
def _deliver_what_is_ahead(
    original: Any, self: ReportOrder, number: int, forgotten_from: int | None
) -> Verdict:
    verdict = original(self, number, forgotten_from)
    if verdict is Verdict.AHEAD:
        self.expected = number + 1
        return Verdict.DELIVER
    return verdict


@mutation("a new host begins with whatever report comes first", ReportOrder, "begin")
def _guess_the_count_of_reports(
    original: Any, self: ReportOrder, boot_id: int, oldest_report: int
) -> bool:
    """The old fault: a host new to the board began with the first report that it received."""
    known = self.boot_id
    restarted = original(self, boot_id, oldest_report)
    if boot_id != known:
        self.expected = None
    return restarted


@mutation("the host acknowledges one report too many")
def _acknowledge_one_too_many(patch: Patch) -> None:
    original = Link.acknowledge
    patch.setattr(Link, "acknowledge", lambda self, through: original(self, through + 1))


# -- slots and the button ----------------------------------------------------------------------------------------------
@mutation("the board does not load its chosen slot")
def _start_with_nothing(patch: Patch) -> None:
    patch.setattr(load_firmware().board, "_load_chosen", lambda self: None)


@mutation("the board says that it has saved a slot, and has not")
def _save_nothing(patch: Patch) -> None:
    patch.setattr(firmware("Slots"), "save", lambda self, slot, table: True)


@mutation("an erased slot keeps its table")
def _erase_nothing(patch: Patch) -> None:
    patch.setattr(firmware("Slots"), "erase", lambda self, slot: True)


@mutation("pressing and letting go are a press each", "Button", "look")
def _press_twice(original: Any, self: Any, is_down: bool, now_ms: int) -> int:
    down = self._down
    original(self, is_down, now_ms)
    return int(self._down != down)


@mutation("a contact that bounces is a press")
def _press_by_bouncing(patch: Patch) -> None:
    patch.setitem(firmware("Button").look.__globals__, "SETTLE_MS", 0)

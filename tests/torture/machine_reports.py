"""What the host is told of shots and watches, judged against the pins: every edge, in order, or said to be missing."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

from machine_pins import Edge, PinJudge, Shot, Told
from machine_tables import BEAM1, CAMERA2, FIRST, SERVED, TABLE_OUTPUTS, WINDOW

from beamfall.link import Origin, Report
from beamfall.wire import Message, WireEnum

_FIRST_INPUT = BEAM1
_GOES_ON = 1 << 62


@dataclass
class Watch:
    """A watch that was asked for, in ticks of the clock of all lives. `sure`: the host was told that it began."""

    life: int
    asked: int
    latest: int = _GOES_ON  # it had begun by then, if it began
    sure: bool = False
    end_asked: int = _GOES_ON
    end_sure: int = _GOES_ON  # it had ended by then
    told: bool = False  # its edges have been found in the reports


@dataclass
class Heard:
    """All reports of one life that reached a host, whichever host it was."""

    life: int
    kept: dict[int, Message] = field(default_factory=dict)
    forgotten: list[tuple[int, int]] = field(default_factory=list)

    def is_forgotten(self, number: int) -> bool:
        return any(first <= number <= last for first, last in self.forgotten)

    def any_forgotten(self, first: int, last: int) -> bool:
        """Whether reports between these two, both excluded, were said to be forgotten."""
        return any(begin < last and first < end for begin, end in self.forgotten)


class ReportJudge:
    def __init__(self, pins: PinJudge, told: Told) -> None:
        self._pins = pins
        self._told = told
        self.lives: dict[int, Heard] = {}  # by boot id
        self.watches: list[Watch] = []
        self.counts: Counter[str] = Counter()

    def take(self, report: Report, before: int | None) -> None:
        """One report as a host got it; `before`: the number of the one that this host got last in this life."""
        heard = self.lives[report.boot_id]
        number = report.number
        if report.name == "forgotten":
            heard.forgotten.append((report["first"], number))
            fits = before is None or report["first"] <= before + 1 <= number
            assert fits, f"reports up to {number} were forgotten, behind {before}"
            return
        if report.origin is Origin.TAKEN:
            return  # another host of these histories had them, or `finish` finds them missing
        assert before is None or number == before + 1, f"report {number} came after {before}"
        same = heard.kept.setdefault(number, report.message) == report.message
        assert same, f"report {number} came twice, and not the same"

    def finish(self, last_boot: int) -> None:
        """Judge all lives, after the last host has heard everything that the board had to report."""
        for boot, heard in self.lives.items():
            missing = [
                number
                for number in range(1, max(heard.kept, default=0) + 1)
                if number not in heard.kept and not heard.is_forgotten(number)
            ]
            assert not missing, f"reports {missing} never came and nobody said so"
            self._judge_life(boot, heard)
        self._all_watches_were_told(self.lives[last_boot])

    def _judge_life(self, boot: int, heard: Heard) -> None:
        edges: list[tuple[int, Message]] = []
        open_shots = [shot for shot in self._pins.shots if shot.life == heard.life]
        last = 0
        for number, message in sorted(heard.kept.items()):
            if message.name == "edges":
                edges.append((number, message))
            if message.name != "shot_done":
                continue
            about = _about(message)
            ours = [(n, m) for n, m in edges if _about(m) == about]
            lost = heard.any_forgotten(last, number)
            self._judge_unended(heard, [(n, m) for n, m in edges if _about(m) != about], last, lost)
            if message["activity"].name == "watch":
                self._judge_watch(heard, (number, message), ours, last)
            else:
                told = [edge for _, m in ours for edge in read_edges(m)]
                if message["edges"] != len(told):
                    assert lost, f"{message['edges']} edges were to come, not {len(told)}"
                elif message["activity"].name == "shot":
                    self._judge_shot(boot, message, told, open_shots)
                else:
                    self._judge_service(heard.life, message, told)
            edges, last = [], number
        self._judge_unended(heard, edges, last, True)

    def _judge_unended(
        self, heard: Heard, edges: list[tuple[int, Message]], last: int, lost: bool
    ) -> None:
        """Edges of something whose end was not reported: it was forgotten, or the board restarted or failed first."""
        for about in dict.fromkeys(_about(message) for _, message in edges):
            if about[0].name == "watch":
                reports = [(n, m) for n, m in edges if _about(m) == about]
                self._judge_watch(heard, None, reports, last)
            else:
                assert lost, f"edges of {about} with no end of it"

    # -- shots ---------------------------------------------------------------------------------------------------
    def _judge_shot(
        self, boot: int, done: Message, told: list[Edge], open_shots: list[Shot]
    ) -> None:
        table = self._told.by_digest.get(done["digest"])
        assert table is not None, "the end of a shot of an unknown table"
        known = self._told.done.get((boot, done["release"]))
        assert known in (None, table), f"release {done['release']} was of {known}, not of {table}"
        cut = done["cause"].name == "internal"
        self.judge_shot_edges(done["state"].name, table, told, open_shots, cut=cut)

    def judge_shot_edges(
        self, state: str, table: int, told: list[Edge], open_shots: list[Shot], *, cut: bool = False
    ) -> None:
        """`told` (from the release) are the edges of one of `open_shots`, which is taken out of them.

        `cut`: the firmware raised, and may not have been able to ask the hardware for the last edges.
        """
        assert told == sorted(told, key=lambda edge: edge[0]), "edges out of order"
        if (FIRST, CAMERA2, 1) not in told:
            assert state not in ("fired", "missed"), f"{state}, and the shutter was not seen"
            assert not [edge for edge in told if edge[1] == CAMERA2]
            return  # stopped before the pins showed its zero
        for shot in open_shots:
            if shot.table in (0, table) and self._is_told(state, table, shot, told, cut):
                open_shots.remove(shot)
                self.counts["edges"] += len(told)
                return
        raise AssertionError(f"no shot at the pins has the edges told of table {table}: {told}")

    def _is_told(self, state: str, table: int, shot: Shot, told: list[Edge], cut: bool) -> bool:
        plan = self._told.plans[table]
        seen = [
            (ticks - shot.zero, signal, level)
            for ticks, signal, level in self._pins.changes_after(shot.life, shot.zero)
        ]
        if state == "fired":  # every change up to the end of the record, and all that is written
            end = plan.end(shot.dark)
            whole = [edge for edge in seen if edge[0] <= end]
            return told == whole and set(shot.pulses) == plan.written(shot.dark)
        # Stopped: all its outputs went off with the stop, so whatever moved before that is told.
        own = sum(2 - (width < 0) for _, _, width in shot.pulses)
        moved = sum(signal in TABLE_OUTPUTS for _, signal, _ in told)
        least = 0
        if state == "missed":
            least = sum(edge[0] <= WINDOW for edge in seen)
        whole = moved <= own if cut else moved == own
        return told == seen[: len(told)] and whole and len(told) >= least

    # -- service actions -----------------------------------------------------------------------------------------
    def _judge_service(self, life: int, done: Message, told: list[Edge]) -> None:
        own = [edge for edge in told if edge[1] in SERVED]
        if not own:
            assert done["cause"].name != "none", "a service action that drove nothing"
            return
        for ticks, signal, level in self._pins.changes[life]:
            zero = ticks - own[0][0]
            if (signal, level) != own[0][1:]:
                continue
            seen = [(t - zero, s, v) for t, s, v in self._pins.changes_after(life, zero)]
            least = 0
            if done["cause"].name == "none":
                least = sum(edge[0] <= done["ended_ticks"] for edge in seen)
            if len(own) == 2 and told == seen[: len(told)] and len(told) >= least:
                self.counts["edges"] += len(told)
                return
        raise AssertionError(f"no service action at the pins has the edges told: {told}")

    # -- watches -------------------------------------------------------------------------------------------------
    def _judge_watch(
        self,
        heard: Heard,
        done: tuple[int, Message] | None,
        reports: list[tuple[int, Message]],
        last: int,
    ) -> None:
        """Judge that the edges are in order, and that none is missing unless reports were said to be forgotten; `last`:
        the report before them."""
        if not reports:
            return
        first = read_edges(reports[0][1])[0]
        for watch in self.watches:
            if watch.life != heard.life or watch.told:
                continue
            for ticks, signal, level in self._pins.changes_after(watch.life, watch.asked):
                zero = ticks - first[0]
                fits = (signal, level) == first[1:] and watch.asked <= zero <= watch.latest
                if fits and self._watch_is_told(heard, watch, zero, done, reports, last):
                    watch.told = True
                    return
        watches = [watch for watch in self.watches if watch.life == heard.life]
        ends = done[1].fields if done else None
        numbers = [(number, len(message["edges"])) for number, message in reports]
        raise AssertionError(
            f"no watch at the pins has the edges told from {first} on: reports {numbers}, end {ends}, "
            f"forgotten {heard.forgotten}, asked for {watches}"
        )

    def _watch_is_told(
        self,
        heard: Heard,
        watch: Watch,
        zero: int,
        done: tuple[int, Message] | None,
        reports: list[tuple[int, Message]],
        last: int,
    ) -> bool:
        changes = self._pins.changes_after(watch.life, zero)
        seen = [
            (ticks - zero, signal, level)
            for ticks, signal, level in changes
            if signal >= _FIRST_INPUT and ticks <= watch.end_sure
        ]
        at = 0
        for number, message in reports:
            told = read_edges(message)
            if heard.any_forgotten(last, number):
                while at < len(seen) and seen[at : at + len(told)] != told:
                    at += 1
            if seen[at : at + len(told)] != told:
                return False
            at += len(told)
            last = number
        self.counts["watched edges"] += sum(len(message["edges"]) for _, message in reports)
        if done is None:
            return True
        least = sum(ticks <= watch.end_asked - zero for ticks, _, _ in seen)
        number, end = done
        if at < least and not heard.any_forgotten(last, number):
            return False
        return least <= end["edges"] + end["edges_lost"] <= len(seen)

    def _all_watches_were_told(self, heard: Heard) -> None:
        """In the last life, which was heard to its end."""
        for watch in self.watches:
            if watch.life != heard.life or not watch.sure or watch.told:
                continue
            seen = [
                signal
                for ticks, signal, _ in self._pins.changes_after(watch.life, watch.latest)
                if signal >= _FIRST_INPUT and ticks <= watch.end_asked
            ]
            assert not seen or heard.forgotten, "a watch of which the host was told nothing"


def _about(message: Message) -> tuple[WireEnum, int]:
    return message["activity"], message["release"]


def read_edges(message: Message) -> list[Edge]:
    base = message.fields["base_ticks"]
    return [
        (base + edge.ticks, int(edge.signal), edge.mark & 1) for edge in message.fields["edges"]
    ]

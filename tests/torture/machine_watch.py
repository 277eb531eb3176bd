"""Rules: watches of the beams, with bursts of edges over many reports."""

from __future__ import annotations

from hypothesis import strategies as st
from hypothesis.stateful import precondition, rule
from machine_host import Faults, HostMachine, perhaps_faults
from machine_reports import Watch
from machine_tables import BEAM1, BEAM2, HZ

from beamfall.errors import LinkError, Refused, ShotError

bursts = st.lists(
    st.tuples(st.integers(1, 50), st.sampled_from([20, 200, 3000])), min_size=1, max_size=3
)


class WatchRules(HostMachine):
    def _begin_watch(self) -> bool:
        """Whether a watch is running now, as far as the host knows."""
        assert self.host is not None
        watch = Watch(self.rig.boot, self.time)
        self.heard.watches.append(watch)
        try:
            self.host.watch(True)
            watch.sure = True
        except Refused as refusal:
            if refusal.reason != "busy":  # busy with this very watch, perhaps: its answer was lost
                self.heard.watches.remove(watch)
            return False
        except (LinkError, ShotError):
            return False
        finally:
            watch.latest = self.time
            if self.rig.boot != watch.life:  # reset under way: it may have begun in any of them
                watch.sure = False
                for life in range(watch.life + 1, self.rig.boot + 1):
                    self.heard.watches.append(Watch(life, watch.asked, watch.latest))
        return True

    def _end_watch(self) -> None:
        assert self.host is not None
        with self._trying(), self._ending_watches():
            self.host.watch(False)

    def _plan_burst(self, drops: int, spacing_us: int) -> float:
        """Make both beams dark and clear in turn; return how long it takes."""
        spacing = spacing_us * HZ // 1_000_000
        at = self.now + 1000
        for _ in range(drops):
            for signal, level in ((BEAM1, 1), (BEAM2, 1), (BEAM1, 0), (BEAM2, 0)):
                self.rig.plan(at, signal, level)
                at += spacing
        return (at - self.now) / HZ

    @precondition(lambda self: self.host is not None)
    @rule(
        bursts=bursts,
        pause_s=st.sampled_from([0.0, 0.03, 9.0, 9.0]),
        good=st.booleans(),
        left_on=st.sampled_from([False, False, True]),
        settle=st.booleans(),
        to_board=perhaps_faults,
        to_host=perhaps_faults,
    )
    def watch(
        self,
        bursts: list[tuple[int, int]],
        pause_s: float,
        good: bool,
        left_on: bool,
        settle: bool,
        to_board: Faults,
        to_host: Faults,
    ) -> None:
        if good:
            self._make_all_well()
        if not self._begin_watch():
            assert not good, "on a good line no watch begins"
            return
        assert self.host is not None
        self._spoil(to_board, to_host)
        for drops, spacing_us in bursts:
            seconds = self._plan_burst(drops, spacing_us)
            with self._trying():
                self.host.sleep(seconds)
                if settle:
                    self.host.settle()
            self.line.sleep(seconds)  # also when the host was thrown out
            self.line.sleep(pause_s)
        if not left_on:
            self._end_watch()

    @rule(timeout_s=st.sampled_from([0.2, 0.6]), drops=st.integers(1, 50))
    def a_watch_goes_on_without_its_host(self, timeout_s: float, drops: int) -> None:
        """A watch drives nothing, so nothing must be switched off, and a host that comes back wants to know what was
        seen."""
        host = self._make_all_well()
        with self._must("a watch"):
            host.set_host_timeout(timeout_s)
            assert self._begin_watch()
            self.line.sleep(timeout_s + 1.1)
            self.line.sleep(self._plan_burst(drops, 200))
            assert host.status().activity.name == "watch", "the watch has ended with its host"
            with self._ending_watches():
                host.watch(False)
            host.set_host_timeout(0)

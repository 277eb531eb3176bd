"""Rules: tables kept on the board, and its button."""

from __future__ import annotations

from contextlib import suppress

from hypothesis import strategies as st
from hypothesis.stateful import rule
from machine_host import Faults, kinds, perhaps_faults
from machine_services import ServiceRules

from beamfall.board import Board, Status
from beamfall.errors import BoardRestarted, PortNotFound, UserError

slots = st.integers(1, 3)
_NO_DIGEST = bytes(16)


class SlotRules(ServiceRules):
    """`self.saved` and `self.chosen` hold what may be kept; only an answer makes it certain."""

    def _ready(self, status: Status) -> bytes | None:
        return None if status.digest == _NO_DIGEST else status.digest

    def _may_hold(self, slot: int) -> set[bytes | None]:
        return self.saved.setdefault(slot, {None})

    @rule(
        kind=kinds,
        slot=slots,
        choose=st.booleans(),
        to_board=perhaps_faults,
        to_host=perhaps_faults,
    )
    def keep_in_a_slot(
        self, kind: str, slot: int, choose: bool, to_board: Faults, to_host: Faults
    ) -> None:
        host = self._make_all_well()
        plan = self._plan(kind)
        with self._must("arming a good table"):
            host.upload(plan.sequence)
        self._spoil(to_board, to_host)
        self._may_hold(slot).add(plan.digest)
        with self._trying():
            host.save_slot(slot)
            self.saved[slot] = {plan.digest}
        if choose:
            self.chosen.add(slot)
            with self._trying():
                try:
                    host.choose_slot(slot)
                except PortNotFound:  # a UserError too, and none of the slot's
                    raise
                except UserError:  # an empty slot cannot be chosen
                    assert None in self._may_hold(slot), "a slot that holds a table is called empty"
                else:
                    self.chosen = {slot}

    @rule(slot=slots, to_board=perhaps_faults, to_host=perhaps_faults)
    def erase_a_slot(self, slot: int, to_board: Faults, to_host: Faults) -> None:
        held = [kept for kept, content in self.saved.items() if content != {None}]
        if held:
            slot = held[slot % len(held)]
        host = self._make_all_well()
        self._spoil(to_board, to_host)
        self._may_hold(slot).add(None)
        with self._trying():
            host.erase_slot(slot)
            self.saved[slot] = {None}
        self._look_at_slots(self._make_all_well())

    @rule(slot=slots)
    def load_a_slot(self, slot: int) -> None:
        """Load a slot and release what is in it."""
        host = self._make_all_well()
        self._look_at_slots(host)
        (digest,) = self._may_hold(slot)
        if digest is None:
            return
        with self._must("loading a slot"):
            host.load_slot(slot)
            assert self._ready(host.status()) == digest, "another table than the slot's is ready"
        self._press_well(host, digest)

    def _look_at_slots(self, host: Board) -> None:
        """The board lists only what may be there; after that it is certain."""
        with self._must("asking for the slots"):
            listed = host.slots()
        held = {slot.slot: slot.digest for slot in listed.slots}
        for slot in range(1, listed.most + 1):
            digest = held.get(slot)
            assert digest in self._may_hold(slot), f"slot {slot} holds another table than was saved"
            self.saved[slot] = {digest}
        assert listed.chosen in self.chosen, "another slot is chosen than was asked for"
        self.chosen = {listed.chosen}

    @rule(press=st.booleans())
    def start_with_the_chosen_slot(self, press: bool) -> None:
        """A board that begins a new life has that slot's table ready, for its button."""
        host = self._make_all_well()
        if self.chosen == {0}:
            self.keep_in_a_slot("short", 1, True, [], [])
        self._look_at_slots(host)
        (slot,) = self.chosen
        (digest,) = self._may_hold(slot) if slot else (None,)
        self.line.reset()
        with self._must("asking"):
            with suppress(BoardRestarted):
                host.status()
            status = host.status()
        self._note_boot(host.link)
        assert self._ready(status) == digest, "not the chosen slot's table is ready"
        if press:
            self._press_well(host, digest)

    @rule(kind=kinds, down_ms=st.sampled_from([5, 60, 300, 300]))
    def press_the_button(self, kind: str, down_ms: int) -> None:
        host = self._make_all_well()
        plan = self._plan(kind)
        with self._must("arming a good table"):
            host.upload(plan.sequence)
        self._press_well(host, plan.digest, down_ms)

    @rule(down_ms=st.sampled_from([5, 60, 300]))
    def press_it_whatever_goes_on(self, down_ms: int) -> None:
        self._press(down_ms)
        self.line.sleep(0.02)

    def _press_well(self, host: Board, digest: bytes | None, down_ms: int = 60) -> None:
        """When nothing runs and nothing has to rest, a press fires the ready table."""
        with self._must("waiting"):
            host.sleep(16.0)  # a rinse and the duty window behind it
        self.pins.look(self.time)
        before = len(self.pins.shots)
        self._press(down_ms)
        with self._must("waiting"):
            host.sleep(3.0)
        self.pins.look(self.time)
        shots = self.pins.shots[before:]
        if digest is None or down_ms < 30:
            assert not shots, "the button released what it must not"
            return
        assert [shot.table for shot in shots] == [self.told.by_digest[digest]], (
            "a press did not release the ready table once"
        )
        with self._must("listening"):
            self._listen_to_the_end()

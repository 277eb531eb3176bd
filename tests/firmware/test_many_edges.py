"""On a port that passes on many edges at once, a watch reports the same as one by one, also over 2^30 ticks."""

from __future__ import annotations

import struct

from scripted import BEAM1, HZ, MS, Bench


class Many:
    """Makes the simulated port pass on edges as the rp2 port does."""

    def __init__(self, port) -> None:
        self._port = port

    def __getattr__(self, name):
        return getattr(self._port, name)

    def __setattr__(self, name, value) -> None:
        if name == "_port":
            object.__setattr__(self, name, value)
        else:
            setattr(self._port, name, value)

    def take_edges(self, records, at, room):
        port = self._port
        taken = 0
        while taken < room and port.next_edge():
            edge = (port.edge_signal, port.edge_mark, port.edge_ticks)
            struct.pack_into("<BBI", records, 6 * (at + taken), *edge)
            taken += 1
        return taken


def watch(many: bool) -> list[int]:
    bench = Bench()
    controller = bench.board.controller
    if many:
        watch = controller._watch
        watch._port = controller._port = Many(controller._port)
        watch._takes_many = True
    bench.ask("watch", on=1)
    zero = bench.now
    block = 2**30
    for start in (
        HZ,
        block - 10 * MS,
        block - MS // 2,
        2 * block - 1,
        2 * block + 5 * MS,
        3 * block + 7,
    ):
        for number in range(40):
            bench.rig.at(zero + start + number * MS // 50, BEAM1, (number + 1) % 2)
    bench.run(30)
    bench.ask("watch", on=0)
    bench.run(0.2)
    (done,) = bench.named("shot_done")
    seen = [m["base_ticks"] + edge.ticks for m in bench.named("edges") for edge in m["edges"]]
    assert done["edges"] == len(seen) == 240
    return seen


def test_many_at_once_is_the_same_as_one_by_one() -> None:
    one_by_one = watch(False)
    assert one_by_one == sorted(one_by_one)
    assert watch(True) == one_by_one


def test_an_endless_stream_leaves_the_link_its_turn() -> None:
    bench = Bench()
    controller = bench.board.controller
    watch = controller._watch
    watch._port = controller._port = Many(controller._port)
    watch._takes_many = True
    bench.ask("watch", on=1)
    given = 0

    def endless(records, at, room):
        nonlocal given
        given += room
        assert given < 10_000, "the watch takes edges without end"
        for place in range(at, at + room):
            struct.pack_into("<BBI", records, 6 * place, BEAM1, 3, given)
        return room

    watch._port.__dict__["take_edges"] = endless
    bench.board.step()
    assert given >= 36

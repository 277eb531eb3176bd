"""The coils' currents as the board's pins would show them."""

from __future__ import annotations

from beamfall.physics.coil import LOOP_OHM, Coil
from beamfall.sim.coils import Coils, CoilState, SupplyModel

HZ = 1_000_000


def test_an_opening_while_the_other_coils_rest_is_not_passed_over() -> None:
    coils = Coils(HZ, seed=1)
    coils.drive(1, 1, 0)
    coils.drive(1, 0, 5_000)
    coils.drive(2, 1, 50_000)  # 40 ms after the first coil's current has ended
    supply = SupplyModel(volt=24.0, ohm=0.5)
    pairs = coils.read(90_000, 500, 4, lambda valve: CoilState(Coil()), supply)
    settled_ma = 1e3 * supply.volt / (Coil().ohm + LOOP_OHM + supply.ohm)
    assert all(abs(current - settled_ma) < 10 for current, _ in pairs)
    assert all(abs(volt - 1e3 * supply.volt + supply.ohm * settled_ma) < 100 for _, volt in pairs)

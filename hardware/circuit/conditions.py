"""What the circuit must cope with: supply ranges, and what is connected to it. Rule checks and studies use it.

All voltages in volts, currents in amperes. Where a figure is a habit of the trade it says so.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Conditions:
    """The range of everything outside the circuit that the checks are made for."""

    # Wall supplies sold as 12 V or 24 V, 5 % either way (common practice, no source).
    supply_nominal_v: tuple[float, ...] = (12.0, 24.0)
    supply_tolerance: float = 0.05
    # 5 V rail with the supply on: from the converter's lowest output less the Schottky's drop, up to the USB maximum.
    # USB 2.0, 7.2.2: 4.75 to 5.25 V at the upstream port.
    buffer_min_v: float = 4.5
    buffer_max_v: float = 5.25
    # 5 V rail on USB alone, behind a board's own diode and a long cable: no valve can be driven then, flashes can.
    buffer_usb_min_v: float = 4.3
    logic_min_v: float = 3.2
    logic_max_v: float = 3.4
    # Lowest 'high' of a board's output at the small loads here.
    logic_high_min_v: float = 2.6
    # Largest current a board's pin sources into its pull-down before the firmware runs: RP2350 datasheet, erratum
    # RP2350-E9, about 120 µA (from memory); a weak pull-up of 30 kΩ at 3.4 V gives 113 µA.
    pin_leak_a: float = 120e-6
    # What the plug-in supply gives into a short circuit: one sold as 3 A, up to a generous one (common practice, no
    # source).
    supply_limit_a: tuple[float, float] = (3.0, 6.0)
    # Transfer ratio of an optocoupler left at 70 °C, and after years of use (from memory, data sheets' curves).
    opto_hot: float = 0.7
    opto_aged: float = 0.8
    # An old flash's trigger circuit: capacitor and inductance behind its contact (common practice, no source).
    trigger_farad: float = 47e-9
    trigger_henry: float = 10e-6
    # The beam: emitter to slit, share of the receiver's light that the slit lets pass (5 mm² of 19.6), and the
    # photocurrent for the clear level of 2.4 V on 10 kΩ.
    beam_gap_m: float = 0.05
    slit_share: float = 0.25
    clear_a: float = 240e-6
    # Coil current the controller is built for, each valve.
    valve_max_a: float = 0.5
    # Highest voltage on a flash's contact: 80 % of the optocoupler's 400 V.
    flash_contact_max_v: float = 320.0
    # Share of a rating that may be used.
    derating: float = 0.8
    resistor_derating: float = 0.6
    capacitor_derating: float = 0.6


CONDITIONS = Conditions()


def supply_max_v(conditions: Conditions = CONDITIONS) -> float:
    """Highest supply voltage in volts."""
    return max(conditions.supply_nominal_v) * (1 + conditions.supply_tolerance)


def supply_min_v(conditions: Conditions = CONDITIONS) -> float:
    """Lowest supply voltage in volts."""
    return min(conditions.supply_nominal_v) * (1 - conditions.supply_tolerance)

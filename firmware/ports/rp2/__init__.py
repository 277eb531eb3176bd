"""The port for the RP2040 and RP2350: PIO state machines and DMA between the pins, no Python."""

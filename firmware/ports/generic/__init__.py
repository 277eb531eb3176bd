"""Pin interrupts, one timer and a clock of microseconds: for boards with no state machines."""

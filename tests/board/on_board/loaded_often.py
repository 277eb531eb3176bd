"""The firmware, with garbage collected after every 2 kB: the generic port's own interrupts are what this delays."""

import gc

gc.threshold(2000)

import main_plain  # noqa: E402

main_plain.main()

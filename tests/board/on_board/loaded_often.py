"""The firmware, with garbage collected after every 2 kB, which would delay the generic port's interrupts."""

import gc

gc.threshold(2000)

import main_plain  # noqa: E402

main_plain.main()

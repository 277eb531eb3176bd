"""The firmware, with garbage collected after every 16 kB: far more often than on a real board."""

import gc

import main_plain

gc.threshold(16000)
main_plain.main()

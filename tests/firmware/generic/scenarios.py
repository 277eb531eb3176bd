"""What the generic port promises, as statements about a board in virtual time. Runs under CPython and MicroPython.

scenarios.py KIND NAME...   under MicroPython; prints for each scenario whether it holds
"""

import sys

import scenarios_rows
import scenarios_trouble

ALL = {}
for _module in (scenarios_rows, scenarios_trouble):
    ALL.update(_module.__dict__)


if __name__ == "__main__":
    for scenario in sys.argv[2:]:
        try:
            ALL[scenario](sys.argv[1])
            print("holds:", scenario)
        except Exception as error:
            print("fails:", scenario)
            sys.print_exception(error)

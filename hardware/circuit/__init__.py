"""The controller's circuit: one table of parts and nets, and everything that is made from it.

`catalogue` says which kinds of part are used and what they must withstand, `netlist` which of them exist and how
they are connected. Drawings, the KiCad netlist, the bill of materials, the wiring tables, the rule checks and the
limits are all made from these two; nothing is drawn or listed by hand. `python hardware/make.py` remakes them.
"""

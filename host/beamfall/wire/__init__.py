"""The wire, sans-I/O: bytes in, values out. Nothing here opens a port.

definition = get_definition()
framer = Framer(definition)
codec = Codec(definition)
for item in framer.feed(data):
    ...
"""

"""`cobs.encode_into` as machine code, for interpreters that can make it; cobs.py uses this if it can.

On an RP2040 at 125 MHz (emulated) a report of 36 edges takes 0.2 ms to encode instead of 2.6 ms, so a watch can keep
up with bursts of edges at 50 kHz.
"""

import micropython


@micropython.viper
def encode_into(source, length: int, out) -> int:
    read = ptr8(source)  # noqa: F821 - viper's own word
    write = ptr8(out)  # noqa: F821
    code_at = 0
    code = 1
    put = 1
    i = 0
    while i < length:
        byte = read[i]
        i += 1
        if byte:
            write[put] = byte
            put += 1
            code += 1
            if code == 255 and i < length:
                write[code_at] = 255
                code_at = put
                put += 1
                code = 1
        else:
            write[code_at] = code
            code_at = put
            put += 1
            code = 1
    write[code_at] = code
    return put

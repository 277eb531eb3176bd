"""COBS with 0x00 as the delimiter (Cheshire & Baker 1999), between preallocated buffers."""


def encode_into(source, length, out):
    """Encode source[:length] into out without the delimiter; return the encoded length.

    `out` must hold length + length // 254 + 1 bytes.
    """
    code_at = 0
    code = 1
    put = 1
    for i in range(length):
        byte = source[i]
        if byte:
            out[put] = byte
            put += 1
            code += 1
            if code == 255 and i + 1 < length:
                out[code_at] = 255
                code_at = put
                put += 1
                code = 1
        else:
            out[code_at] = code
            code_at = put
            put += 1
            code = 1
    out[code_at] = code
    return put


def decode_in_place(buffer, length):
    """Decode buffer[:length] (no delimiter inside) in place; return the decoded length, -1 if it is not COBS."""
    get = 0
    put = 0
    while get < length:
        code = buffer[get]
        if code == 0 or get + code > length:
            return -1
        get += 1
        for _ in range(code - 1):
            byte = buffer[get]
            if byte == 0:
                return -1
            buffer[put] = byte
            put += 1
            get += 1
        if code != 255 and get < length:
            buffer[put] = 0
            put += 1
    return put


try:  # the same as machine code, where the interpreter can make it
    from beamfall_board.cobs_native import encode_into  # noqa: F401, F811
except (ImportError, NameError, SyntaxError, AttributeError):
    pass

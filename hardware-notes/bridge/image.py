"""A program for a microcontroller as the file that goes onto the board.

Usage: image.py PROGRAM OUT

PROGRAM is what the linker made (ELF, 32 bits, little-endian). OUT ends in `.bin`: the bytes of the flash memory from its
beginning; or in `.uf2`: the same in blocks, which a board takes as a file on a drive. The layout of UF2 is
that of the format's public description.
"""

import struct
import sys

UF2_BEGIN = (0x0A324655, 0x9E5D5157)
UF2_END = 0x0AB16F30
UF2_HAS_FAMILY = 0x2000
RP2040 = 0xE48BFF56
PAGE = 256  # bytes of flash memory in a block


def flash(program):
    """Where the flash memory begins, and its bytes; gaps are as erased memory is."""
    assert program[:6] == b"\x7fELF\x01\x01", "no ELF of 32 bits, little-endian"
    at, size, count = struct.unpack_from("<I10xHH", program, 28)
    parts = []
    for header in range(count):
        kind, offset, _, address, length = struct.unpack_from("<5I", program, at + header * size)
        if kind == 1 and length > 0:  # PT_LOAD
            parts.append((address, program[offset : offset + length]))
    begin = min(address for address, _ in parts)
    end = max(address + len(part) for address, part in parts)
    memory = bytearray(b"\xff" * (end - begin))
    for address, part in parts:
        memory[address - begin : address - begin + len(part)] = part
    return begin, bytes(memory)


def uf2(begin, memory):
    pages = [memory[at : at + PAGE].ljust(PAGE, b"\xff") for at in range(0, len(memory), PAGE)]
    for number, page in enumerate(pages):
        head = struct.pack("<8I", *UF2_BEGIN, UF2_HAS_FAMILY, begin + number * PAGE, PAGE, number, len(pages), RP2040)
        yield head + page.ljust(476, b"\0") + struct.pack("<I", UF2_END)


def main(program, out):
    with open(program, "rb") as file:
        begin, memory = flash(file.read())
    with open(out, "wb") as file:
        file.write(b"".join(uf2(begin, memory)) if out.endswith(".uf2") else memory)
    print(f"bridge: {out}, {len(memory)} bytes of flash memory from 0x{begin:08x}")


if __name__ == "__main__":
    main(*sys.argv[1:])

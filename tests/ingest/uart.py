"""An asynchronous serial line, 8 data bits, no parity, 1 stop bit: what is heard where the two ends' rates differ.

The line is high at rest. A frame is a low start bit, eight data bits, the lowest first, and a high stop bit. The
receiver waits for a falling edge, looks at the middle of each bit by its own clock, hands the byte over even where the
stop bit is low, and then waits until the line is high again. (The frame as every UART's handbook has it; receivers
differ in what they do after a missing stop bit.)
"""

import math


def heard(sent: bytes, sent_at: int, heard_at: int) -> bytes:
    """What a receiver at `heard_at` baud makes of bytes sent without a pause at `sent_at`, with rest around them."""
    wire = [1]
    for byte in sent:
        wire += [0, *((byte >> bit) & 1 for bit in range(8)), 1]
    bit = sent_at / heard_at  # of the receiver, in bits of the sender
    wire += [1] * (math.ceil(10 * bit) + 1)
    out = bytearray()
    at = 0.0
    while True:
        edge = math.ceil(at)
        while edge < len(wire) and not (wire[edge - 1] and not wire[edge]):
            edge += 1
        if edge >= len(wire):
            return bytes(out)
        levels = [wire[int(edge + (number + 0.5) * bit)] for number in range(10)]
        at = edge + 9.5 * bit
        if levels[0]:
            at = edge + 1  # no start bit: a spike
            continue
        out.append(sum(level << number for number, level in enumerate(levels[1:9])))
        while not levels[9] and not wire[int(at)]:
            at = int(at) + 1

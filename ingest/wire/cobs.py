"""Consistent Overhead Byte Stuffing: packets without a zero byte, so that a zero can end a frame.

Source: Cheshire & Baker, "Consistent Overhead Byte Stuffing", IEEE/ACM Trans. Networking 7(2), 1999.
"""


class NotCobs(ValueError):
    """The bytes are no COBS frame: a zero inside, or a code byte that points past the end."""


def stuff(packet: bytes) -> bytes:
    """The frame of `packet`, without the closing zero."""
    frame = bytearray()
    blocks = packet.split(b"\0")
    for number, block in enumerate(blocks):
        full = [block[at : at + 254] for at in range(0, len(block), 254)] or [b""]
        for piece in full:
            frame.append(len(piece) + 1)
            frame += piece
        # A full piece carries no zero of its own, so a zero that follows needs an empty block.
        if len(full[-1]) == 254 and number + 1 < len(blocks):
            frame.append(1)
    return bytes(frame)


def unstuff(frame: bytes) -> bytes:
    """The packet inside `frame` (given without the closing zero); raises NotCobs."""
    if 0 in frame:
        raise NotCobs("a zero byte inside a frame")
    packet = bytearray()
    at = 0
    while at < len(frame):
        code = frame[at]
        end = at + code
        if end > len(frame):
            raise NotCobs(f"code byte {code} at offset {at} points past the end")
        packet += frame[at + 1 : end]
        if code < 255 and end < len(frame):
            packet.append(0)
        at = end
    return bytes(packet)

"""Consistent Overhead Byte Stuffing: packets without a zero byte, so that a zero can end a frame.

Source: Cheshire & Baker, "Consistent Overhead Byte Stuffing", IEEE/ACM Trans. Networking 7(2), 1999.
"""


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

"""CRC-16/GENIBUS, the check of every packet and the id of a dictionary (FORMAT.md, section 1)."""

import binascii


def crc16(data: bytes) -> int:
    """CRC-16/GENIBUS of `data`: polynomial 0x1021, initial value and final XOR 0xFFFF, not reflected.

    `binascii.crc_hqx` is the same polynomial without the two XORs, which the caller may choose.
    """
    return binascii.crc_hqx(data, 0xFFFF) ^ 0xFFFF

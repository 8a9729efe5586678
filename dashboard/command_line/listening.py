"""Where the dashboard listens: the words of it that `show` and `demo` share."""

import argparse
import re


def port_number(text: str) -> int:
    """A TCP port from 0 (any that is free) to 65535; for argparse, which shows the message."""
    if not re.fullmatch(r"[0-9]{1,5}", text) or int(text) > 65535:
        raise argparse.ArgumentTypeError(f"{text!r} is no port: give a number from 0 (any that is free) to 65535")
    return int(text)

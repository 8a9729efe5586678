"""`setscrew ports`: the serial ports that a console may hang on."""

import argparse
import json
from dataclasses import asdict

from dashboard.command_line import exits
from ingest.capture.sources import serial_ports

HELP = "list the serial ports of this machine"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The words of the command line."""
    parser.add_argument("--json", action="store_true", help="print one JSON object (dashboard/JSON.md)")


def run(arguments: argparse.Namespace) -> int:
    """Prints the ports, those on USB first. An empty list is an answer too."""
    ports = serial_ports()
    if arguments.json:
        print(json.dumps({"ports": [asdict(port) for port in ports]}))
    elif not ports:
        print("No serial port is there. Plug the console in, and look whether its cable carries data.")
    for port in [] if arguments.json else ports:
        print(f"{port.name}  {port.description}{f'  (USB {port.usb})' if port.usb else ''}")
    return exits.OK

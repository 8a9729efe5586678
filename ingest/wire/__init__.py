"""Bytes and packets: from the line to events, and back."""

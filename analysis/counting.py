"""A count with its noun, as sentences and commands say it. Imports nothing, so that commands start at once."""


def counted(number: int, noun: str, plural: str = "") -> str:
    """`1 run`, `12,000 runs`; `plural` for nouns that take no s."""
    return f"{number:,} {noun if number == 1 else plural or noun + 's'}"

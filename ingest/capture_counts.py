"""What was counted in one capture: the numbers by which it is trusted, wherever it is spoken of."""

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class CaptureCounts:
    """Columns of `captures`, and of its runs and power-ups. `refusal`: why its dictionary was refused, or None."""

    bytes: int
    packets: int
    events: int
    runs: int
    rejected_packets: int
    missing_packets: int
    dropped_events: int
    tail_bytes: int
    unread_bytes: int
    newer_packets: int
    refusal: str | None
    power_ups: int
    damaged_runs: int
    cut_runs: int

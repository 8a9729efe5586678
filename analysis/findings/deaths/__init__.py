"""Where, of what and how players die."""

from analysis.findings.deaths.causes_and_stages import find

__all__ = ["find"]

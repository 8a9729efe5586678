"""Who the players are, how they learn, who gives up after what, and what they say."""

from analysis.findings.players.skill import OUTCOMES, find

__all__ = ["OUTCOMES", "find"]

"""Rhythm games: the players' hands, and the console's judging of what they do."""

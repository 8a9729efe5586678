"""What is fitted to a game's playtests, and what follows from it for a setting: pure functions of arrays.

data.py holds what the models are fitted to, targets.py what is asked of them, observed.py what the playtest itself
showed. staged.py (deaths, clear times, and the chain that plays both), trials.py, rhythm.py and between_builds.py are
the four models; MODEL.md says what they are and how they were tried.
"""

"""What is fitted to a game's playtests, and what follows from it for a setting: pure functions of arrays.

fitted.py says what every fitted model answers; staged_games/, trials.py, rhythm_games/ and between_builds.py are the
four kinds. data.py holds what they are fitted to, targets.py what is asked of them, setting.py and moves.py what may be
turned, observed.py what the playtest itself showed. MODEL.md says how the models work.
"""

"""The tests, mirroring the code. `python -m tests` installs what they need and runs them all."""

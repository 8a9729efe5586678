"""Statistics as pure functions: numpy arrays in, frozen results out; no file, database or screen is known here."""

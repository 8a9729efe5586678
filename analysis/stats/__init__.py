"""Statistics as pure functions: numpy arrays in, frozen results out. Nothing here knows a file, a database or a screen."""

"""The tables that people take out of a study: what their columns are, how they are read, and as which files they go."""

"""Games played in segments with lives: the hazard of dying, clear times, and the chain that plays both to the end."""

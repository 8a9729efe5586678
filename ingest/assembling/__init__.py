"""From events to runs: stages, lives, whose they are, and what damage did to them."""

"""How players differ from each other, and from their own earlier attempts."""

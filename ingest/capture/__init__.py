"""From a port to a file, and what was said and noticed meanwhile."""

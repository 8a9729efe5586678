"""How long lives and runs last: survival, which end came first, builds compared, what raises the rate."""

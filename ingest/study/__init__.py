"""The study: one DuckDB file; logs into it, through it and out of it."""

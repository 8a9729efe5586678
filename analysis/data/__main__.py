"""`python -m analysis.data`: the text of TABLES.md, from what the tables declare."""

import sys

from analysis.data.declared_tables import text

if __name__ == "__main__":
    sys.stdout.write(text())

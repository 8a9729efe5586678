"""`python -m analysis.findings`: the text of FINDINGS.md, from what the findings declare."""

import sys

from analysis.findings.documented import text

if __name__ == "__main__":
    sys.stdout.write(text())

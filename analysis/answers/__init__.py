"""What the public face answers with: small frozen objects that print as the commands do, show themselves in notebooks,
and turn into the JSON of `--json` (dashboard/JSON.md).
"""

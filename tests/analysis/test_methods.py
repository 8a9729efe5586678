"""Every method a finding may name is described, and its sources can be cited."""

import re
from pathlib import Path

from analysis.methods import METHODS

FOLDER = Path(__file__).parents[2] / "analysis"


def test_methods_are_described_and_their_sources_complete():
    for key, method in METHODS.items():
        assert method.name and method.text.rstrip().endswith("."), key
        for source in method.sources:
            assert re.match(r"@(article|book|inproceedings|misc|incollection|techreport|manual)\{", source.bibtex), (
                source.key
            )
            assert source.bibtex.split("{")[1].startswith(source.key + ","), source.key
            assert source.bibtex.count("{") == source.bibtex.count("}"), source.key
            year = re.search(r"year=\{(\d{4})\}", source.bibtex)
            assert year and year[1] in source.text, source.key
            assert "author=" in source.bibtex and "title=" in source.bibtex, source.key


def test_one_key_names_one_publication():
    entries: dict[str, set[str]] = {}
    for method in METHODS.values():
        for source in method.sources:
            entries.setdefault(source.key, set()).add(source.bibtex)
    assert all(len(found) == 1 for found in entries.values()), {k for k, v in entries.items() if len(v) > 1}


def test_every_method_key_in_the_findings_is_registered():
    for module in (FOLDER / "findings").glob("*.py"):
        for key in re.findall(r'method="([a-z_.]+)"', module.read_text(encoding="utf-8")):
            assert key in METHODS, f"{module.name} names the method {key}"

"""Every method a finding may name is described, and its sources can be cited."""

import re
from pathlib import Path

import pytest

from analysis import methods
from analysis.findings.documented import declared
from analysis.methods import METHODS
from analysis.models.between_builds import BetweenBuilds
from analysis.models.rhythm_games.rhythm import RhythmModel
from analysis.models.staged_games.staged import StagedModel
from analysis.models.trials import TrialModel

ROOT = Path(__file__).parents[2]
BIB = (ROOT / "analysis/methods/sources.bib").read_text(encoding="utf-8")
SOURCES = {source.key: source for method in METHODS.values() for source in method.sources}
# What BibTeX wants of each kind of entry.
NEEDED = {
    "article": {"author", "title", "journal", "year"},
    "book": {"author", "title", "publisher", "year"},
    "inproceedings": {"author", "title", "booktitle", "year"},
}
# What LaTeX would take for more than a letter.
SPECIAL = re.compile(r"(?<!\\)[&%$#_~^]")


def fields(bibtex: str) -> dict[str, str]:
    """The fields of an entry, one a line."""
    lines = bibtex.splitlines()[1:-1]
    found = [re.fullmatch(r"  ([a-z]+) = \{(.+)\},", line) for line in lines]
    assert all(found), lines
    return {one[1]: one[2] for one in found if one}


def test_methods_are_described():
    for key, method in METHODS.items():
        assert method.name and method.text.endswith(".") and "\n" not in method.text, key


def test_a_finding_or_a_model_uses_each_method_and_each_is_there():
    models = {model.method for model in (BetweenBuilds, RhythmModel, StagedModel, TrialModel)}
    assert {one.method for one in declared().values()} | models == set(METHODS)


def test_every_publication_is_read_and_cited():
    in_file = re.findall(r"@\w+\{(\w+),", BIB)
    assert in_file == sorted(set(in_file)) and len(in_file) == BIB.count("@")
    assert set(in_file) == set(SOURCES)


@pytest.mark.parametrize("key", SOURCES)
def test_bibtex_and_latex_take_an_entry(key):
    source = SOURCES[key]
    kind = re.match(r"@(\w+)\{" + key + ",\n", source.bibtex)
    entry = fields(source.bibtex)
    assert kind and NEEDED[kind[1]] <= set(entry) and not re.search(r"\d-\d", entry.get("pages", ""))
    assert entry["year"] in source.text and entry["author"].split(",")[0].replace("{", "")[:3] in source.text
    for name, text in entry.items():
        assert text.isascii() and not SPECIAL.search(text), (name, text)
        depth = 0
        for letter in text:
            depth += {"{": 1, "}": -1}.get(letter, 0)
            assert depth >= 0, (name, text)
        assert depth == 0, (name, text)


def test_what_is_shown_and_what_is_cited_are_read_as_they_stand(tmp_path, monkeypatch):
    (tmp_path / "sources.bib").write_text(
        "% Head.\n\n% Ab 1999, C\n@book{ab,\n  title = {C \\& {D}},\n}\n", encoding="utf-8"
    )
    (tmp_path / "methods.toml").write_text(
        '["m.n"]\nname = "N"\ntext = """\nOne\ntwo."""\nsources = ["ab"]\n', encoding="utf-8"
    )
    monkeypatch.setattr(methods, "_HERE", tmp_path)
    source = methods.Source("ab", "Ab 1999, C", "@book{ab,\n  title = {C \\& {D}},\n}")
    assert methods._read_methods() == {"m.n": methods.Method("N", "One two.", (source,))}
    (tmp_path / "sources.bib").write_text("", encoding="utf-8")
    with pytest.raises(KeyError, match="ab"):
        methods._read_methods()


def test_the_package_ships_them():
    settings = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    assert '"*.bib"' in settings and '"*.toml"' in settings

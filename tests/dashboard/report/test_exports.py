"""Tables as files: nothing from a log becomes a formula, a command or markup, and numbers come back whole."""

import csv
import functools
import io
import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from markupsafe import Markup

from dashboard.report.exports import as_bibtex, as_csv, as_latex, as_markdown, latex, sources
from dashboard.web.html_tables import table
from dashboard.web.templating import part

# The starts that OWASP's page on CSV injection names.
FORMULAS = ["=1+1", "+1", "-1+2", "@SUM(A1)", "\t=1", "\r=1", '=HYPERLINK("http://x")']
TEXT = st.text(st.characters(blacklist_categories=("Cs",)), max_size=40)


@pytest.mark.parametrize("formula", FORMULAS)
def test_no_cell_starts_a_formula(formula):
    rows = list(csv.reader(io.StringIO(as_csv({formula: [formula]}))))
    assert all(not cell.startswith(("=", "+", "-", "@", "\t", "\r")) for row in rows for cell in row)
    assert rows[1][0].startswith(("'", " "))


@given(st.lists(TEXT, min_size=1, max_size=5), st.floats(allow_nan=False, allow_infinity=False))
def test_csv_reads_back(texts, value):
    content = as_csv({"who": texts, "n": [value] * len(texts)})
    rows = list(csv.reader(io.StringIO(content)))
    assert len(rows) == len(texts) + 1
    assert all(float(row[1]) == value for row in rows[1:])


def test_negative_numbers_stay_numbers():
    assert as_csv({"x": np.array([-1.5, np.nan])}) == 'x\r\n-1.5\r\n""\r\n'


def test_missing_values_are_empty_and_texts_are_one_line():
    assert as_csv({"a": [None, "two\nlines"], "b": [True, False]}) == "a,b\r\n,yes\r\ntwo lines,no\r\n"


@settings(deadline=None)
@given(TEXT)
def test_latex_has_no_command_of_the_log(value):
    escaped = latex(value)
    # Every special character left is one that we wrote as an escape.
    bare = re.sub(
        r"~(?=\\%)|\\(?:text[a-z]+|allowbreak|nobreakspace|ldots)\{\}|\\[{}$&#%_]|\$-\$|\$\\[a-z]+\$", "", escaped
    )
    assert not set(bare) & set("\\{}$&#%_^~")


def test_latex_table():
    made = as_latex({"who_": ["P&1"], "n": [3]}, "100 % of $x$", "tab:who")
    assert made.count(r"\raggedright") == made.count(r"\raggedleft") == 1  # texts left, numbers right
    assert r"\hspace{0pt}P\&1 & \hspace{0pt}3 \\" in made
    assert r"\caption{100~\% of \$x\$}\label{tab:who}\\" in made
    shares = [float(share) for share in re.findall(r"\\dimexpr ([\d.]+)\\linewidth", made)]
    assert sum(shares) == pytest.approx(1, abs=1e-3) and min(shares) > 0.3


def test_long_words_may_be_broken_and_others_are_left_to_latex():
    assert latex("0123456789ab") == r"0123\allowbreak{}4567\allowbreak{}89ab\allowbreak{}"
    assert latex("interpretation") == "interpretation"
    assert r"\_\allowbreak{}" in latex("fire_period_boss")


def test_letters_that_the_fonts_lack_are_written_in_others():
    assert latex("Żółw, naïve") == "Żółw, naïve"
    assert latex("ﬁ") == "fi" and latex("Ω") == "[U+03A9]"


def test_markdown_table_keeps_its_columns():
    made = as_markdown({"a|b": ["x|y`*_<b>"], "n": [1]})
    assert made.splitlines()[2] == r"| x\|y\`\*\_\<b\> | 1 |"
    assert made.splitlines()[0] == r"| a\|b | n |"


@settings(deadline=None)
@given(TEXT)
def test_markup_is_escaped_where_it_enters(value):
    made = part("link", value, value, {"title": value}).strip()
    assert "<" not in made.removeprefix("<a ").removesuffix("</a>").replace('">', "", 1)
    ours = ("<code>", "</code>", '<span class="unbroken">', "</span>")
    assert (
        "<" not in functools.reduce(lambda text, mark: text.replace(mark, ""), ours, part("note", value)).strip()[2:-4]
    )
    assert part("link", Markup("<b>"), "/").strip().startswith('<a href="/"><b>')


def test_tables_are_escaped():
    assert "<script>" not in table({"<script>": ["<script>alert(1)</script>"]}, "<script>")


def test_a_source_that_two_methods_cite_is_written_once():
    used = sources(["survival_by_player", "streaks", "no such method"])
    entries = as_bibtex(used)
    assert [source.key for source in used].count("kaplan1958") == 1
    assert entries.count("\n@") + 1 == len(used) > 2 and all(source.bibtex in entries for source in used)

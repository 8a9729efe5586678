"""The templates: every one is sound, installed with the package, and escapes what it is given."""

import ast
import fnmatch
import re
import tomllib
from pathlib import Path

import dashboard
from dashboard.web import templating

ROOT = Path(dashboard.__file__).parent
TEMPLATES = ROOT / "web" / "templates"
# What a page is made of; figures have texts with marks of their own, such as <br>.
_ELEMENT = re.compile(r"<(p|div|span|section|article|table|tr|td|th|a|ul|ol|li|img|details|nav)[ >]")


def test_every_file_that_the_dashboard_reads_is_installed_with_it():
    told = tomllib.loads((ROOT.parent / "pyproject.toml").read_text(encoding="utf-8"))
    patterns = told["tool"]["setuptools"]["package-data"]["*"]
    files = [path for path in ROOT.rglob("*") if path.is_file() and path.suffix not in (".py", ".pyc")]
    assert sum(path.is_relative_to(TEMPLATES) for path in files) > 6
    assert [path for path in files if not any(fnmatch.fnmatch(path.name, one) for one in patterns)] == []


def test_every_template_can_be_read_and_none_lets_a_text_through():
    for path in TEMPLATES.rglob("*.*"):
        templating._templates().get_template(path.relative_to(TEMPLATES).as_posix())
        text = path.read_text(encoding="utf-8")
        assert "| safe" not in text and "autoescape" not in text, path


def test_backticks_set_code_and_nothing_else():
    assert templating.prose("role `a<b` of <i>") == "role <code>a&lt;b</code> of &lt;i&gt;"
    assert templating.prose(templating.Markup("<i>`</i>")) == "<i>`</i>"


def test_only_the_templates_write_html_and_nothing_reads_it():
    found = []
    for path in ROOT.rglob("*.py"):
        source = path.read_text(encoding="utf-8")
        found += [f"{path.name}: {word}" for word in ("HTMLParser", "unescape(", "html.Table") if word in source]
        texts = [node.value for node in ast.walk(ast.parse(source)) if isinstance(node, ast.Constant)]
        found += [f"{path.name}: {text[:40]}" for text in texts if isinstance(text, str) and _ELEMENT.search(text)]
    assert found == []

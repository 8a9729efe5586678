"""MUTANTS.md: one row a fault, with the first test that noticed it."""

from pathlib import Path

from tests.bench.mutants.listed import Mutant, mutants

TABLE = Path(__file__).with_name("MUTANTS.md")
_BEGIN = "<!-- from here on written by `python -m tests.bench.mutants` -->"
_NOBODY, _NOT_RUN = "**no test**", "not run"


def noticed() -> dict[str, str]:
    """By name what stands in the table: the test, "" where none noticed; those not run are left out."""
    found = {}
    for line in TABLE.read_text(encoding="utf-8").partition(_BEGIN)[2].splitlines():
        cells = [cell.strip() for cell in line.strip("|").split(" | ")]
        if len(cells) == 4 and cells[3] not in (_NOT_RUN, "noticed by", "---"):
            found[cells[1]] = "" if cells[3] == _NOBODY else cells[3].strip("`")
    return found


def write(results: dict[str, str]) -> None:
    """Puts results into their rows; a row of a fault that is no longer listed goes."""
    known = {**noticed(), **results}
    listed = mutants()
    ran = [m for m in listed if m.name in known]
    killed = sum(bool(known[m.name]) for m in ran)
    text = TABLE.read_text(encoding="utf-8").partition(_BEGIN)[0]
    said = f"{killed} of {len(ran)} were noticed" + (
        f"; {len(listed) - len(ran)} not run." if len(ran) < len(listed) else "."
    )
    rows = [_row(m, known) for m in listed]
    head = "| in analysis/ | fault | what it would do | noticed by |\n| --- | --- | --- | --- |"
    TABLE.write_text("\n".join([f"{text}{_BEGIN}\n\n{said}\n", head, *rows, ""]), encoding="utf-8")


def _row(mutant: Mutant, known: dict[str, str]) -> str:
    by = known.get(mutant.name)
    said = _NOT_RUN if by is None else f"`{by}`" if by else _NOBODY
    return f"| {mutant.path.removeprefix('analysis/')} | {mutant.name} | {mutant.wrong} | {said} |"

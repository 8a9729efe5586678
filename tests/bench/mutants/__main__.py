"""Would the tests notice? Puts one fault at a time into a copy of the code and runs the narrow tests on it.

    python -m tests.bench.mutants                all of them (about a quarter of an hour of one core)
    python -m tests.bench.mutants jackknife Wilson   those with such a word in name or path

At the end each result is written to its row of MUTANTS.md; faults that were not run keep theirs. The code of the
working tree is never changed, so that an interrupted run leaves nothing behind. Exit status 1: a text is not found
exactly once, tests came to no end or no start, or one that failed fails without the fault too.
"""

import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from tests.bench.mutants.forked import Outcome, load, run
from tests.bench.mutants.listed import ROOT, Mutant, mutants, stale
from tests.bench.mutants.table import write


def copy_of_the_tree(place: Path) -> None:
    """All files that git keeps, or would keep."""
    listed = ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"]
    names = subprocess.run(listed, cwd=ROOT, check=True, capture_output=True).stdout.decode().split("\0")
    for name in filter(None, names):
        if (ROOT / name).is_file():
            (place / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(ROOT / name, place / name)
    # By their hash, compiled files are renewed when the text changes, however soon.
    compiled = [sys.executable, "-m", "compileall", "-q", "--invalidation-mode", "checked-hash", "."]
    subprocess.run(compiled, cwd=place, check=True)


def tried(mutant: Mutant, place: Path) -> Outcome:
    """The narrow tests with the fault in place, which is taken out again."""
    path = place / mutant.path
    sound = path.read_text(encoding="utf-8")
    path.write_text(sound.replace(mutant.old, mutant.new), encoding="utf-8")
    try:
        return run(mutant.tests, place)
    finally:
        path.write_text(sound, encoding="utf-8")


def main(words: list[str]) -> int:
    """Runs those asked for; 1 where something is wrong with the list or the tests, 0 otherwise."""
    if wrong := stale():
        print("\n".join(wrong), file=sys.stderr)
        return 1
    chosen = [m for m in mutants() if not words or any(word.lower() in f"{m.name} {m.path}".lower() for word in words)]
    found: dict[str, Outcome] = {}
    with tempfile.TemporaryDirectory() as made:
        place = Path(made).resolve()
        copy_of_the_tree(place)
        load()
        for mutant in chosen:
            outcome = tried(mutant, place)
            if not outcome.ran:
                print(f"no answer: {mutant.path}: {mutant.name}\n{outcome.said}", file=sys.stderr, flush=True)
                continue
            found[mutant.name] = outcome
            print(f"{outcome.by or 'SURVIVED':60} {mutant.path}: {mutant.name}", flush=True)
        # What failed with a fault must pass without one, or it has told nothing.
        failed = tuple(dict.fromkeys(outcome.test for outcome in found.values() if outcome.test))
        sound = run(failed, place) if failed else Outcome("", True, "")
        if sound.test or not sound.ran:
            print(f"without any fault:\n{sound.said}", file=sys.stderr)
            return 1
    write({name: outcome.by for name, outcome in found.items()})
    return 0 if len(found) == len(chosen) else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

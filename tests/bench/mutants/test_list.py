"""The list of faults keeps up with the code: without this it would rot, as the faults are put in by hand only."""

from collections import Counter

from tests.bench.mutants import table
from tests.bench.mutants.listed import ROOT, mutants, stale


def test_every_fault_can_still_be_put_in():
    assert stale() == []


def test_every_fault_changes_something_and_leaves_python():
    assert len(mutants()) >= 80
    assert [name for name, times in Counter(m.name for m in mutants()).items() if times > 1] == []
    for mutant in mutants():
        assert mutant.old != mutant.new and "|" not in mutant.name + mutant.wrong
        compile((ROOT / mutant.path).read_text(encoding="utf-8").replace(mutant.old, mutant.new), mutant.path, "exec")


def test_the_table_is_that_of_the_list_and_nine_of_ten_are_noticed():
    noticed = table.noticed()
    assert set(noticed) == {m.name for m in mutants()}, "run those that are new: python -m tests.bench.mutants WORD ..."
    assert sum(map(bool, noticed.values())) >= 0.9 * len(noticed)

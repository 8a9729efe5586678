"""The order in which logs come changes nothing: neither what the study holds, nor what is found in it."""

import itertools
import random
from pathlib import Path

import pytest

from analysis.findings import QUESTIONS
from analysis.reader import Reader
from analysis.selection import Selection
from ingest.said.build_order import MOST_LOOKS, Played, order_of
from ingest.said.forgetting import forget_capture
from ingest.said.notes import add_prediction, note_order, take_back
from ingest.study.store import Study, import_log, open_study
from tests.ingest.studies import dictionary, event, log_of, recorded_at, rows

DEMO = Path(__file__).parents[2] / "demo_logs"
KINDS = {
    "begin": ("run_start", {"who": "u8 player"}),
    "over": ("run_end", {"how": "u8 ending"}),
    "fell": ("death", {"x": "u8 x", "why": "u8 cause"}),
}
# What a study knows a capture, a dictionary or an import by: the order of import, and nothing else, is in these.
# The date of a file is its own.
_SURROGATE = {"capture_id", "dictionary_id", "ingested_at", "noted_at", "received_at"}


def content(study: Study) -> dict[str, list[str]]:
    """Every row of every table and view, but for the numbers and moments that say when something came."""
    tables = rows(
        study,
        "SELECT schema_name, table_name, table_name FROM duckdb_tables() UNION ALL "
        "SELECT 'main', view_name, view_name FROM duckdb_views() WHERE NOT internal",
    )
    found = {}
    for schema, name, _ in tables:
        columns = [
            f'"{column}"'
            for (column,) in rows(
                study, "SELECT column_name FROM duckdb_columns() WHERE schema_name = ? AND table_name = ?", schema, name
            )
            if column not in _SURROGATE
        ]
        if columns:
            found[name] = sorted(map(repr, rows(study, f'SELECT {", ".join(columns)} FROM {schema}."{name}"')))
    return found


def answers(study: Study) -> dict[str, object]:
    """All findings on every game as JSON, but for the numbers of captures."""
    reader = Reader(study.connection)
    games = [str(game) for game in reader.ask("study_games")["game"]]
    found: dict[str, object] = {"fingerprint": reader.fingerprint()}
    for game, asked in itertools.product(games, QUESTIONS.values()):
        said = [finding.to_json() for finding in asked.find(reader, Selection(game))]
        for table in (table for one in said for table in one["tables"].values()):
            table.pop("capture_id", None)
        found[f"{game} {asked.id}"] = said
    return found


def study_of(folder: Path, logs: list[Path], name: str) -> tuple[dict[str, list[str]], dict[str, object]]:
    with open_study(folder / f"{name}.duckdb") as study:
        for log in logs:
            import_log(study, log)
        return content(study), answers(study)


def run(t: int, who: int, x: int, alive: int = 5000) -> list[dict]:
    return [event(t, "begin", who=who), event(t + alive, "fell", x=x, why=1), event(t + alive + 10, "over", how=1)]


def console(nonce: int, *runs: tuple[int, int], **values: int) -> bytes:
    """A log: the runs (player, milliseconds alive) on the values of the tunables."""
    tunables = [{"name": name, "value": value, "min": 0, "max": 99} for name, value in (values or {"fire": 5}).items()]
    lines = [dictionary(KINDS, tunables=tunables), {"power_up": nonce}]
    for n, (who, alive) in enumerate(runs):
        lines += run(100_000 * n + 1000 + nonce, who, (7 * n + nonce) % 160, alive)
    return log_of(lines)


def unordered(folder: Path) -> list[Path]:
    """Logs of four builds without a time, but for one; people play on several consoles, one without a tag."""
    logs = {
        "late": console(11, (1, 5000), (2, 900), fire=3),
        "early": console(12, (1, 7000), (0, 40), fire=9),
        "third": console(13, (2, 5000), (1, 800), fire=1),
        "fourth": console(14, (3, 100), fire=4),
    }
    for name, log in logs.items():
        (folder / f"{name}.playlog").write_bytes(log)
    recorded_at(folder / "third.playlog", "2026-03-01T10:00:00+00:00")
    return [folder / f"{name}.playlog" for name in logs]


def test_every_order_of_import_gives_the_same_study(tmp_path: Path) -> None:
    logs = unordered(tmp_path)
    expected = study_of(tmp_path, logs, "first")
    # Of 24 orders each third: each log comes first, and each comes last.
    orders = list(itertools.permutations(logs))[2::3]
    assert {order[0] for order in orders} == {order[-1] for order in orders} == set(logs)
    for number, order in enumerate(orders):
        with open_study(tmp_path / f"s{number}.duckdb") as study:
            for log in order:
                import_log(study, log)
            assert content(study) == expected[0]
            if number in (3, 6):
                assert answers(study) == expected[1]


def test_what_was_forgotten_and_came_again_changes_nothing(tmp_path: Path) -> None:
    logs = unordered(tmp_path)
    expected = study_of(tmp_path, logs[:3], "first")
    with open_study(tmp_path / "s.duckdb") as study:
        ids = {log: import_log(study, log).capture_id for log in (logs[3], *logs[:3])}
        assert content(study) != expected[0]
        forget_capture(study, ids[logs[3]])
        forget_capture(study, ids[logs[0]])
        import_log(study, logs[0])
        found = content(study)
        # Tables of kinds stay when the last log that has them goes.
        assert {name: lines for name, lines in found.items() if lines or name in expected[0]} == expected[0]
        assert answers(study) == expected[1]


def test_the_demo_in_any_order(tmp_path: Path) -> None:
    logs = sorted(DEMO.glob("one_puff_*.playlog"))
    assert study_of(tmp_path, logs[::-1], "back") == study_of(tmp_path, logs, "forth")


def test_the_whole_demo_in_any_order(tmp_path: Path) -> None:
    """The content of the study for fifteen logs, by chance; its findings take too long for that."""
    logs = sorted(DEMO.glob("*.playlog"))
    seen = []
    for number in range(2):
        random.Random(number).shuffle(logs)
        with open_study(tmp_path / f"{number}.duckdb") as study:
            for log in logs:
                import_log(study, log)
            seen.append((content(study), Reader(study.connection).fingerprint()))
    assert seen[0] == seen[1]


def labels(study: Study) -> dict[int, str]:
    return dict(rows(study, "SELECT value, label FROM builds JOIN tunables USING (build_id) ORDER BY 1"))


def test_labels_follow_the_time_where_it_is_known(tmp_path: Path) -> None:
    """And the values where not; a label that moves to another build takes no prediction along."""
    with open_study(tmp_path / "s.duckdb") as study:
        for number, fire in enumerate((5, 9, 3)):
            log = tmp_path / f"{fire}.playlog"
            log.write_bytes(console(number + 1, (1, 500), fire=fire))
            if fire != 3:
                recorded_at(log, f"2026-03-0{9 - fire // 3}T10:00:00+00:00")  # 5 on the 8th, 9 on the 6th
            import_log(study, log)
            if fire == 5:
                assert labels(study) == {5: "1.0"}
                add_prediction(study.connection, "Moth Run", "1.0", "", '{"kept": 5}')
        assert labels(study)[9] < labels(study)[5]
        assert rows(
            study,
            "SELECT value, prediction_json FROM predictions JOIN builds USING (build_key) "
            "JOIN tunables USING (build_id)",
        ) == [(5, '{"kept": 5}')]


def test_what_people_say_orders_attempts_and_can_be_taken_back(tmp_path: Path) -> None:
    with open_study(tmp_path / "s.duckdb") as study:
        for name, fire in (("a", 3), ("b", 9)):
            (tmp_path / f"{name}.playlog").write_bytes(console(fire, (1, 500), fire=fire))
            import_log(study, tmp_path / f"{name}.playlog")
        asked = "SELECT build, attempt FROM runs ORDER BY attempt"
        assert rows(study, asked) == [("1.0", 1), ("1.0 b", 2)]
        before = content(study)
        moment = note_order(study.connection, "Moth Run", ["1.0 b"], "1.0")
        assert rows(study, asked) == [("1.0 b", 1), ("1.0", 2)] and labels(study) == {3: "1.0", 9: "1.0 b"}
        take_back(study.connection, "build_order", moment)
        assert content(study) == before
        for wrong in ((["2.0"], "1.0"), (["1.0"], "1.0")):
            with pytest.raises(ValueError, match=r"build|builds"):
                note_order(study.connection, "Moth Run", *wrong)


def played(build: str, log: str, number: int, at: float | None = None) -> Played:
    return Played(build, log, number, at)


def test_times_words_and_one_log_order_builds() -> None:
    apart = [played("a", "x", 1), played("b", "y", 1)]
    order = order_of(["a", "b"], apart, [], last=True)
    assert order.builds == ("a", "b") and not order.known("a", "b") and not order.known("b", "a")
    order = order_of(["a", "b"], apart, [("b", "a"), ("a", "b")], last=True)  # the newest word first
    assert order.builds == ("b", "a") and order.known("b", "a") and not order.known("a", "b")
    order = order_of(["a", "b"], [played("a", "x", 9), played("b", "x", 3)], [], last=True)
    assert order.builds == ("b", "a") and order.known("b", "a")
    # Two logs that contradict each other say nothing.
    both = [played("a", "x", 1), played("b", "x", 2), played("b", "y", 1), played("a", "y", 2)]
    assert not order_of(["a", "b"], both, [], last=True).known("a", "b")
    # Through a third build, by three kinds of knowledge; one of no time stays where it is.
    mixed = [
        played("c", "x", 1, 50.0),
        played("a", "y", 1, 70.0),
        played("d", "z", 1),
        played("b", "z", 2),
        played("e", "w", 1),
    ]
    order = order_of(["a", "b", "c", "d", "e"], mixed, [("a", "d")], last=True)
    assert order.known("c", "b") and not order.known("b", "c")
    assert not any(order.known("e", one) or order.known(one, "e") for one in "abcd")
    assert [one for one in order.builds if one != "e"] == ["c", "a", "d", "b"]
    # At one moment neither is before the other, and both are before what came later.
    timed = [played("c", "x", 1, 5), played("b", "y", 1, 5), played("a", "z", 1, 6)]
    order = order_of(["a", "b", "c"], timed, [], last=False)
    assert order.builds == ("b", "c", "a") and not order.known("b", "c") and order.known("b", "a")


def test_the_last_runs_order_otherwise_than_the_first() -> None:
    """A build that was taken up again was played last, and first."""
    again = [played("a", "x", 1, 1.0), played("b", "y", 1, 2.0), played("a", "z", 1, 3.0)]
    assert order_of(["b", "a"], again, [], last=False).builds == ("a", "b")
    assert order_of(["a", "b"], again, [], last=True).builds == ("b", "a")


def test_thousands_of_builds_are_ordered_in_time() -> None:
    names = [f"{n}" for n in range(5000)]
    many = [played(name, "x", n) for n, name in enumerate(names)]
    assert order_of(names[::-1], many, [], last=True).builds == tuple(names)


def test_logs_that_contradict_each_other_cost_a_bounded_number_of_looks() -> None:
    """Ten logs have 2,000 builds in ten orders by lot; twice as many that agree take twice as long."""
    dice, names = random.Random(1), [f"{n}" for n in range(2000)]
    mixed = [played(name, f"{log}", n) for log in range(10) for n, name in enumerate(dice.sample(names, 2000))]
    order = order_of(names, mixed, [], last=True)
    assert sorted(order.builds) == sorted(names)
    assert MOST_LOOKS <= order.looks < MOST_LOOKS + 100_000
    agreeing = [played(f"{n}", f"{log}", n) for log in range(10) for n in range(log % 2, 4000, 1 + log % 3)]
    few = order_of(names[::-1], [one for one in agreeing if one.number < 2000], [], last=True)
    many = order_of([f"{n}" for n in range(4000)][::-1], agreeing, [], last=True)
    assert few.builds == tuple(names) and many.known("0", "3999")
    assert 0 < many.looks < 3 * few.looks < MOST_LOOKS

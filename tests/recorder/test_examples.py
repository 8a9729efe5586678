"""The examples beside the recorder: they compile as they stand, and their logs say what was played."""

from __future__ import annotations

import re
from collections import Counter
from pathlib import Path

import pytest

from ingest.study.store import import_log, open_study
from tests import reference
from tests.ingest.studies import rows
from tests.recorder import native
from tests.recorder.cores import CORES, EXAMPLES, LANTERN, M0, M4, Core, played_on_the_pc

GAMES = ("damp_cellars", "pan_lids")


def on_the_pc(folder: Path, game: str) -> bytes:
    """What a game sends when it is played on this machine, under sanitizers."""
    return played_on_the_pc(folder, game, LANTERN / "pc_port.c")


def logged(folder: Path, game: str) -> list[reference.Event]:
    log = reference.decode(on_the_pc(folder, game))
    assert not log.drops and not log.gaps and not log.rejected and not log.tail_bytes
    return log.events


@pytest.mark.parametrize("core", CORES, ids=lambda core: core.name)
@pytest.mark.parametrize("game", GAMES)
def test_games_compile_without_a_warning(game: str, core: Core, tmp_path: Path) -> None:
    core.compile("-std=gnu99", f"-I{EXAMPLES / game}", "-c", EXAMPLES / game / "main.c", "-o", tmp_path / "main.o")


def test_the_staged_game_logs_what_was_played(tmp_path: Path) -> None:
    """Each death costs one life and names where; a run ends after three of them or three cellars."""
    lives, through = 0, 0
    ends = Counter[int]()
    for event in logged(tmp_path, "damp_cellars"):
        match event.kind:
            case "begin":
                lives, through = 3, 0
            case "out":
                lives -= 1
                assert event.fields["lives"] == lives
                assert event.fields["why"] == (2 if through == 2 else 1)
                # 120 pixels, 3 or 5 a frame of 20 ms; the first step is in the frame that lets it go.
                assert event.fields["fell"] == (23 if through == 2 else 39) * 20
            case "leave":
                through += event.fields["through"]
            case "over":
                assert event.fields == {"how": int(through < 3), "cellars": through}
                assert lives == 0 or through == 3
                ends[event.fields["how"]] += 1
    assert ends[1] >= 3


def test_the_rhythm_games_verdicts_follow_from_its_presses(tmp_path: Path) -> None:
    """A hit's error is the press's moment less the note's, and each note of a whole song is judged once."""
    due: list[tuple[int, int]] = []
    presses: set[tuple[int, int]] = set()
    songs: list[Counter[int]] = []
    verdicts, judged = Counter[int](), 0
    for event in logged(tmp_path, "pan_lids"):
        match event.kind:
            case "begin":
                due, presses, verdicts = [], set(), Counter()
            case "note":
                due.append((event.tick + event.fields["ahead"], event.fields["lid"]))
            case "press":
                presses.add((event.tick, event.fields["lid"]))
            case "judged":
                verdicts[event.fields["grade"]] += 1
                error, lid = event.fields["error"], event.fields["lid"]
                if event.fields["grade"] == 1:
                    judged += 1
                    assert -90 <= error <= 90
                    assert any((at + error, lid) in presses for at, of in due if of == lid)
            case "over":
                assert sum(verdicts.values()) == len(due) == 44
                songs.append(verdicts)
    assert len(songs) >= 2 and judged > 20


@pytest.mark.parametrize("game", GAMES)
def test_a_study_takes_the_log(game: str, tmp_path: Path) -> None:
    sent = on_the_pc(tmp_path, game)
    kinds = Counter(event.kind for event in reference.decode(sent).events)
    path = tmp_path / f"{game}.playlog"
    path.write_bytes(sent)
    with open_study(tmp_path / "study.duckdb") as study:
        import_log(study, path)
        (told,) = rows(study, "select count(*), count(player), sum(deaths) from runs")
    assert told == (kinds["begin"], kinds["begin"], kinds["out"]) and kinds["begin"] >= 3


def blocks(heading: str) -> list[str]:
    """The C of the README under a heading."""
    text = (native.RECORDER / "README.md").read_text(encoding="utf-8")
    (section,) = re.findall(rf"^## {heading}\n(.*?)^## ", text, re.MULTILINE | re.DOTALL)
    return re.findall(r"^```c\n(.*?)^```", section, re.MULTILINE | re.DOTALL)


@pytest.mark.parametrize("core", [M0, M4], ids=lambda core: core.name)
def test_the_readmes_game_compiles_as_it_is_shown(core: Core, tmp_path: Path) -> None:
    header, game = blocks("A game's own log in ten lines")
    (timer,) = blocks("The clock")
    (tmp_path / "moth_log.h").write_text(header, encoding="utf-8")
    (tmp_path / "moth.c").write_text(game, encoding="utf-8")
    (tmp_path / "longer.c").write_text(
        game.replace("static uint32_t ticks(void) { return milliseconds; }\n", timer), encoding="utf-8"
    )
    for name in ("moth", "longer"):
        core.compile("-std=c99", f"-I{tmp_path}", "-c", tmp_path / f"{name}.c", "-o", tmp_path / "moth.o")

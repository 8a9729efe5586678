"""A log whose dictionary is refused, in part or as a whole, or never came: what is read of it, and how it is mended."""

from dataclasses import replace
from pathlib import Path

from analysis.quality import Grade, judge
from ingest.given_dictionary import given_path, main
from ingest.study.capture_counts import About
from ingest.study.store import Status, Study, import_log
from ingest.vocabulary import EventRole, FieldRole, FieldType
from ingest.wire.dictionary import Dictionary, Field, Kind
from ingest.wire.encoder import Encoder
from tests.ingest.studies import imported, rows
from tests.reference import packet_in

GAME = Dictionary(
    "Lantern",
    "7",
    1000,
    (160, 128),
    (
        Kind("begin", EventRole.RUN_START),
        Kind("fell", EventRole.DEATH, (Field("why", FieldType.U8, FieldRole.CAUSE, None, {1: "beam"}),)),
        Kind("over", EventRole.RUN_END),
    ),
)


def play_log(dictionary: Dictionary) -> bytes:
    """One run with a death; nothing checks the dictionary, as nothing does on a console."""
    encoder = Encoder(dictionary, [])
    events = [(1000, "begin", {}), (5000, "fell", {"why": 1}), (5100, "over", {})]
    return encoder.power_up() + b"".join(encoder.event(t, kind, said) for t, kind, said in events) + encoder.flush()


def with_labels(labels: dict[int, str]) -> Dictionary:
    begin, fell, over = GAME.kinds
    return replace(GAME, kinds=(begin, replace(fell, fields=(replace(fell.fields[0], labels=labels),)), over))


def test_a_label_that_is_refused_costs_nothing_but_itself(study: Study, tmp_path: Path) -> None:
    result = imported(study, tmp_path / "a.playlog", play_log(with_labels({1: "beam", 300: "wall"})))
    assert (result.status, result.events, result.runs, result.refusal) == (Status.NEW, 3, 1, None)
    assert rows(study, "SELECT label FROM labels") == [("beam",)]
    (notice,) = result.notices
    assert notice.about == About.DICTIONARY and "label 300 wall" in notice.what and notice.byte_offset > 0
    verdict = judge(result)
    assert verdict.grade == Grade.DAMAGED and notice.what in verdict.words and notice.remedy in verdict.words


def test_a_log_of_which_nothing_can_be_read_is_read_with_a_corrected_dictionary(study: Study, tmp_path: Path) -> None:
    log = tmp_path / "a.playlog"
    before = imported(study, log, play_log(replace(GAME, clock_hz=50)))
    assert before.status == Status.REFUSED and before.events == 0 and before.refusal is not None
    assert "'clock 50'" in before.refusal and "ingest/CAPTURE.md" in judge(before).words

    assert main([str(log)]) == 0
    corrected = given_path(log)
    assert corrected.read_bytes() == replace(GAME, clock_hz=50).text
    corrected.write_bytes(corrected.read_bytes().replace(b"clock 50", b"clock 100"))
    after = import_log(study, log)
    assert (after.status, after.events, after.runs, after.refusal) == (Status.GROWN, 3, 1, None)
    assert after.capture_id == before.capture_id
    assert rows(study, "SELECT end_us - start_us FROM all_runs") == [(41_000_000,)]
    assert [notice.about for notice in after.notices] == [About.GIVEN]
    assert judge(after).grade == Grade.INTACT and corrected.name in judge(after).words
    assert import_log(study, log).status == Status.UNCHANGED

    corrected.unlink()
    assert import_log(study, log).status == Status.REFUSED


def test_a_log_without_any_dictionary_is_read_with_one_that_lies_beside_it(study: Study, tmp_path: Path) -> None:
    frames = [frame for frame in play_log(GAME).split(b"\0") if frame]
    starved = b"".join(frame + b"\0" for frame in frames if packet_in(frame)[0] != 0x12)
    log = tmp_path / "a.playlog"
    assert imported(study, log, starved).events == 0
    assert main([str(log)]) == 2 and not given_path(log).exists()
    given_path(log).write_bytes(b"\xef\xbb\xbf" + GAME.text.replace(b"\n", b"\r\n"))
    after = import_log(study, log)
    assert (after.events, after.runs, after.unread_bytes) == (3, 1, 0)


def test_a_corrected_dictionary_that_is_none_is_told_and_the_own_one_read(study: Study, tmp_path: Path) -> None:
    log = tmp_path / "a.playlog"
    given_path(log).write_bytes(b"\xff\x00" * 9)
    result = imported(study, log, play_log(GAME))
    assert result.events == 3 and given_path(log).name in result.notices[0].what
    given_path(log).write_bytes(GAME.text.replace(b"label 1", b"label BEAM"))
    result = import_log(study, log)
    assert result.events == 3 and [notice.about for notice in result.notices] == [About.GIVEN, About.DICTIONARY]
    assert main([str(log)]) == 2, "what somebody corrected is not written over"

"""What the tuning commands share: the targets file and the game, with words for what is wrong."""

from pathlib import Path
from typing import Any

from dashboard import exits

LARGEST_BYTES = 1_000_000


class TuningTrouble(Exception):
    """What was asked cannot be done, and why; `code` is the exit code."""

    def __init__(self, message: str, code: int):
        super().__init__(message)
        self.code = code


def read_target_file(path: Path) -> tuple[str, Any]:
    """The text of a targets file and what it says. Raises TuningTrouble."""
    from analysis.tuning.target_file import BadTargets, read_targets

    try:
        if path.stat().st_size > LARGEST_BYTES:
            raise TuningTrouble(f"{path}: larger than a targets file can be (1 MB)", exits.INPUT)
        text = path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise TuningTrouble(f"{path}: cannot be read: {error.strerror or error}", exits.INPUT) from None
    except UnicodeDecodeError:
        raise TuningTrouble(f"{path}: not UTF-8 text; save it as UTF-8", exits.INPUT) from None
    try:
        return text, read_targets(text)
    except BadTargets as error:
        raise TuningTrouble(f"{path}: {error}", exits.INPUT) from None


def chosen_game(reader: Any, wanted: str | None) -> str:
    """The game's title. Raises TuningTrouble."""
    games = [str(game) for game in reader.ask("study_games")["game"]]
    if not games:
        from analysis.findings.trust.logs_received import why_no_run

        raise TuningTrouble(
            why_no_run(reader) or "the study holds no run; ingest play logs first", exits.THIN
        )
    if wanted is None:
        if len(games) > 1:
            raise TuningTrouble(f"the study holds {', '.join(games)}: choose one with --game", exits.USAGE)
        return games[0]
    if wanted not in games:
        raise TuningTrouble(f"the study holds no game {wanted!r}; it holds {', '.join(games)}", exits.USAGE)
    return wanted

"""What a study is asked with: words that mean a game, builds, targets or a setting, and errors that name the remedy."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from analysis.models.targets import TargetSet
    from analysis.reader import Reader

LARGEST_BYTES = 1_000_000


class WrongArgument(ValueError):
    """A question cannot be asked with this. `argument`: which one; `value`: what was said; `remedy`: what would do."""

    def __init__(self, argument: str, value: object, remedy: str):
        said = argument if value is None else f"{argument}={value!r}"
        super().__init__(f"{said}: {remedy}")
        self.argument, self.value, self.remedy = argument, value, remedy


@dataclass(frozen=True)
class Wishes:
    """A targets file: its text, to be kept, and what it says."""

    text: str
    targets: "TargetSet"


def words_of(said: str | Sequence[str] | None) -> tuple[str, ...]:
    """One word, several or none, as a tuple."""
    return (said,) if isinstance(said, str) else tuple(said or ())


def read_wishes(path: str | Path) -> Wishes:
    """A targets file. Raises BadTargets, which names the file."""
    from analysis.tuning.target_file import BadTargets, read_targets

    path = Path(path)
    try:
        if path.stat().st_size > LARGEST_BYTES:
            raise BadTargets(f"{path}: larger than a targets file can be (1 MB)")
        text = path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise BadTargets(f"{path}: cannot be read: {error.strerror or error}") from None
    except UnicodeDecodeError:
        raise BadTargets(f"{path}: not UTF-8 text; save it as UTF-8") from None
    try:
        return Wishes(text, read_targets(text))
    except BadTargets as error:
        raise BadTargets(f"{path}: {error}") from None


def found_by(wishes: Wishes, testers: str | None) -> Wishes:
    """The wishes with how the testers were found, where that is said. Raises WrongArgument."""
    from ingest.vocabulary import Recruitment

    if testers is None:
        return wishes
    if testers not in list(Recruitment):
        raise WrongArgument("testers", testers, f"say one of {', '.join(Recruitment)}")
    return replace(wishes, targets=replace(wishes.targets, testers=Recruitment(testers)))


def setting_from(argument: str, said: str | Mapping[str, int] | None) -> dict[str, int] | None:
    """A setting as a proposal's id says it, "lives=4+fall_ms=300"; a mapping stays one. Raises WrongArgument."""
    if said is None or not isinstance(said, str):
        return None if said is None else dict(said)
    pairs = [[part.strip() for part in word.partition("=")] for word in said.split("+")]
    if any(not re.fullmatch(r"-?\d{1,10}", value) for _, _, value in pairs):
        raise WrongArgument(argument, said, "write NAME=VALUE+NAME=VALUE, with whole numbers")
    return {name: int(value) for name, _, value in pairs}


def only_game(reader: "Reader", wanted: str | None) -> str:
    """The game that is meant; none needs to be named where there is one. Raises NothingToTune and WrongArgument."""
    from analysis.tuning_answers.tuning_data import NothingToTune

    games = [str(game) for game in reader.ask("study_games")["game"]]
    if not games:
        from analysis.findings.trust.logs_received import why_no_run

        raise NothingToTune(why_no_run(reader) or "the study holds no run; ingest play logs first")
    if wanted is None and len(games) == 1:
        return games[0]
    if wanted is None:
        raise WrongArgument("game", None, f"the study holds {', '.join(games)}; name one of them")
    if wanted not in games:
        raise WrongArgument("game", wanted, f"the study holds no game {wanted!r}; it holds {', '.join(games)}")
    return wanted


def checked_build(reader: "Reader", game: str, build: str | None) -> None:
    """Raises WrongArgument for a build that the game does not have."""
    labels = [str(label) for label in reader.ask("game_builds", game=game)["build"]]
    if build is not None and build not in labels:
        raise WrongArgument("build", build, f"{game} has no build {build!r}; it has {', '.join(labels)}")


def within(argument: str, value: Any, most: int) -> None:
    """Raises WrongArgument unless `value` is None or from 1 to `most`."""
    if value is not None and not 1 <= value <= most:
        raise WrongArgument(argument, value, f"must be from 1 to {most}")

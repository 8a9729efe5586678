"""A target as a sentence to fill in, and back: the words of its outcomes, and what is wanted so far."""

from analysis.tuning.target_file import BadTargets, read_targets
from analysis.words import amount

# Outcome -> (words, the word of TARGETS.md for its number).
OUTCOMES = {
    "reach_stage": ("reach stage …", "stage"),
    "finish": ("finish the game", ""),
    "finish_within": ("finish within … attempts", "attempts"),
    "survive": ("stay alive for … seconds", "seconds"),
    "hit_share": ("hit so much of the notes or trials (median player)", ""),
    "streak": ("start with … in a row", "length"),
    "level_reached": ("reach level …", "level"),
    "quit_share": ("quit before the end (as few as)", ""),
    "run_length": ("play for so many seconds a run", ""),
}


def wishes(text: str, kept: bool = True) -> str:
    """What a targets file wants, as a sentence; empty while it wants nothing. kept: whether the study holds it so."""
    try:
        targets = read_targets(text).targets
    except BadTargets:
        return ""
    said = [f"{amount(t.wanted, t.unit)}: {t.name}" for t in targets]
    return f"Wanted so far: {'; '.join(said)}.{'' if kept else ' Not kept yet.'}"


def wished(text: str, outcome: str, which: str, wanted: str) -> str:
    """The targets file, or with the sentence's target where it has none. Raises BadTargets."""
    if "[[target]]" not in text:
        return with_target(text, outcome, which, wanted)
    read_targets(text)
    return text


def with_target(text: str, outcome: str, which: str, wanted: str) -> str:
    """The targets file with one more target. Raises BadTargets when it is not one."""
    key = next((key for key, (words, _) in OUTCOMES.items() if outcome.strip() in (words, key)), None)
    if key is None:
        raise BadTargets("choose one of the outcomes in the list")
    word = OUTCOMES[key][1]
    lines = ["", "[[target]]", f'outcome = "{key}"']
    if word:
        lines.append(f"{word} = {which.strip() or 1}")
    number = wanted.strip().replace(".", "", 1).isdecimal()
    lines.append(f"wanted = {wanted.strip()}" if number else f'wanted = "{quoted(wanted.strip())}"')
    longer = text.rstrip() + "\n" + "\n".join(lines) + "\n"
    read_targets(longer)
    return longer


def quoted(text: str) -> str:
    """A text as it may stand between the quotes of TOML."""
    kept = "".join(letter for letter in text if letter >= " ")
    return kept.replace("\\", "\\\\").replace('"', '\\"')

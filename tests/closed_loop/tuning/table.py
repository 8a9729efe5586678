"""The measured figures of the closed loop as text, each with its standard error or interval."""

from collections.abc import Sequence

import numpy as np

from analysis.stats.proportions import clopper_pearson

DISTANCES = (("< 8", 0, 0.08), ("8-15", 0.08, 0.15), ("> 15", 0.15, 2))
CHANCES = ((0, 0.5), (0.5, 0.7), (0.7, 0.8), (0.8, 0.9), (0.9, 0.97), (0.97, 1.01))
# As in the tuning: worse by so much is harm.
HARM = 0.02


def table(records: Sequence[dict]) -> str:
    """All worlds of `records`, then what was said of lives policies."""
    start = np.array([r["start_miss"] for r in records])
    lines = [f"worlds: {len(records)}", f"leave as is: mean miss {_mean(100 * start)}"]
    rounds = len(records[0]["rounds"])
    for number in range(rounds):
        parts = [r["rounds"][number] for r in records]
        lines += [f"after playtest {number + 1}:", *_one_playtest(records, parts, start)]
    lines += _plain(records)
    if rounds > 1:
        lines += ["both playtests:", *_advised([(r, p) for r in records for p in r["rounds"]])]
    return "\n".join([*lines, *_policies(records)])


def _one_playtest(records: Sequence[dict], parts: Sequence[dict], start: np.ndarray) -> list[str]:
    miss = np.array([p["miss"] for p in parts])
    reached, before = (np.array([p[which] for p in parts]) for which in ("reached", "before"))
    lines = [f"   mean miss {_mean(100 * miss)}"]
    for name, low, high in DISTANCES:
        chosen = (start >= low) & (start < high)
        if chosen.any():
            lines.append(
                f"   start {name}: {chosen.sum()} worlds, {100 * start[chosen].mean():.1f} -> "
                f"{_mean(100 * miss[chosen])}"
            )
    for which, truth in (("said", reached), ("now_said", before)):
        for level in (80, 95):
            low, high = (np.array([p[which][f"{end}{level}"] for p in parts]) for end in ("low", "high"))
            lines.append(f"   {which} {level} % covers {_share((truth >= low) & (truth <= high))}")
        error = 100 * (np.array([p[which]["value"] for p in parts]) - truth)
        lines.append(f"   {which}: mean error {_mean(error)}, mean absolute {_mean(abs(error))}")
    lines += _advised(list(zip(records, parts, strict=True)))
    far = start >= DISTANCES[0][2]
    advised = np.array([p["advice"] == "change" for p in parts])
    close = np.array([p["advice"] == "close_enough" for p in parts])
    lines.append(f"   recommended {_share(advised)}; where the start is 8 points or more off {_share(advised[far])}")
    lines.append(f"   said to be close enough {_share(close)}")
    acted = np.where(advised, miss, [abs(b - r["wanted"]) for b, r in zip(before, records, strict=True)])
    lines.append(f"   mean miss when acting on advice only {_mean(100 * acted)}")
    lines.append(f"   seconds of fit and propose: median {np.median([p['seconds'] for p in parts]):.2f}")
    return lines


def _advised(pairs: Sequence[tuple[dict, dict]]) -> list[str]:
    """Harm done by what is recommended, and the stated chance of being better against what was found."""
    gain = np.array([abs(p["before"] - r["wanted"]) - p["miss"] for r, p in pairs])
    chance = np.array([p["chance_better"] for _, p in pairs])
    moved = np.array([bool(p["changes"]) for _, p in pairs])
    advised = np.array([p["advice"] == "change" for _, p in pairs])
    lines = [f"   of the recommended, worse by over 2 points {_share(gain[advised] < -HARM)}"]
    for low, high in CHANCES:
        chosen = moved & (chance >= low) & (chance < high)
        if chosen.any():
            lines.append(f"   chance said {100 * chance[chosen].mean():.0f} %, found {_share(gain[chosen] > 0)}")
    return lines


def _plain(records: Sequence[dict]) -> list[str]:
    """The miss of each plain rule after the first playtest, and how much it is more than the model's."""
    lines = []
    parts = [r["rounds"][0] for r in records if "plain" in r["rounds"][0]]
    for name in parts[0]["plain"] if parts else ():
        miss = np.array([p["plain"][name] for p in parts])
        more = miss - np.array([p["miss"] for p in parts])
        lines.append(f"{name}, first playtest: mean miss {_mean(100 * miss)}, {_mean(100 * more)} more than the model")
    return lines


def _policies(records: Sequence[dict]) -> list[str]:
    lines = []
    of_role = {
        role: np.array([p[1:3] for r in records for p in r["rounds"][0]["policies"] if p[0] == role])
        for role in ("lives_refill", "start_lives")
    }
    for role, pairs in of_role.items():
        if len(pairs):
            error = 100 * (pairs[:, 0] - pairs[:, 1])
            size = 100 * abs(pairs[:, 1]).mean()
            lines.append(
                f"{role} effect: {len(pairs)} cases, true size {size:.1f}, error {_mean(error)}, "
                f"absolute {_mean(abs(error))}"
            )
    return lines


def _mean(values: np.ndarray) -> str:
    return f"{values.mean():.1f} (se {values.std() / np.sqrt(len(values)):.1f})"


def _share(yes: np.ndarray) -> str:
    """With the exact binomial interval."""
    if not len(yes):
        return "none of 0"
    low, high = clopper_pearson(int(yes.sum()), len(yes))
    return f"{100 * yes.mean():.0f} % ({yes.sum()} of {len(yes)}; 95 % {100 * low:.0f} to {100 * high:.0f})"

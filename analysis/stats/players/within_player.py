"""How a measure differs between songs, lanes, passages or tempi when not every player met every one of them."""

from dataclasses import dataclass

import numpy as np
from scipy import sparse, special

from analysis.stats.estimate import LEVEL, Estimate, margin_by_player

Array = np.ndarray


@dataclass(frozen=True)
class LevelEffects:
    """One element a level, in the order of their numbers.

    mean: what the average player would show at this level; effect: its distance from the average over levels, with
    the interval low..high (NaN where fewer than two players compare the level); notes, players: what it rests on.
    compared: players with another level in a block of theirs, without whom nothing tells it from the others.
    p: two-sided, that the effect is 0, corrected for the number of levels by Holm. influence: (players, levels), what
    each player adds to the error of each effect; no rows where there is no interval.
    """

    mean: Array
    effect: Array
    low: Array
    high: Array
    p: Array
    notes: Array
    players: Array
    compared: Array
    influence: Array

    def difference(self, one: int, other: int, level: float = LEVEL) -> Estimate:
        """Level `one` less level `other`, with its interval; `players` are those of the level that fewer compare."""
        players = int(min(self.compared[one], self.compared[other]))
        value = float(self.effect[one] - self.effect[other])
        if not len(self.influence) or players < 2:
            return Estimate(value, level=level, players=players)
        squares = np.sum((self.influence[:, one] - self.influence[:, other]) ** 2)
        error = float(np.sqrt(squares * players / (players - 1)))
        margin = margin_by_player(error, players, level)
        return Estimate.around(value, margin, level=level, players=players)


def level_effects(
    value: Array, level: Array, player: Array, levels: int, block: Array | None = None, confidence: float = LEVEL
) -> LevelEffects:
    """Levels compared within players: value = block + level + error, by least squares, intervals by player.

    value: (n,), NaN where nothing was measured; level, player: (n,) numbers from 0; block: (n,) numbers of what is
    held fixed, by default the player, else for instance player and song; a block belongs to one player. So a song
    that only the best played does not look easy. The variance is the cluster-robust one with the factor K/(K-1) and
    t(K-1) (Liang & Zeger 1986, Biometrika 73:13-22; the factor: common practice). K are the players who saw the
    level and another one in the same block: with all players instead, a song that two of twelve chose is told from the
    rest by chance in a third of the playtests, and with one of seven who played a second song, always. Levels nobody
    reached are NaN.
    """
    known = ~np.isnan(value)
    value, level, player = value[known], level[known], player[known]
    block = player if block is None else block[known]
    first, number = np.unique(block, return_index=True, return_inverse=True)[1:]
    number = number.reshape(-1)
    blocks, cluster = len(first), np.unique(player[first], return_inverse=True)[1].reshape(-1)
    players = int(cluster.max()) + 1 if blocks else 0
    cell = number * levels + level
    count = np.bincount(cell, minlength=blocks * levels).reshape(blocks, levels).astype(float)
    total = np.bincount(cell, weights=value, minlength=blocks * levels).reshape(blocks, levels)
    notes = count.sum(axis=0)
    seen_by = (_by_cluster(count, cluster, players) > 0).sum(axis=0)
    # Who met one level only says nothing of how it differs from the others.
    several = (count > 0).sum(axis=1, keepdims=True) > 1
    compared = (_by_cluster(np.where(several, count, 0.0), cluster, players) > 0).sum(axis=0)
    seen = notes > 0
    nothing, nobody = np.full(levels, np.nan), np.zeros((0, levels))
    if not players or not seen.any():
        return LevelEffects(nothing, nothing, nothing, nothing, nothing, notes, seen_by, compared, nobody)

    # The blocks are swept out of the normal equations; what is left is singular by one constant, as effects are.
    own = count.sum(axis=1)
    normal = np.diag(notes) - (count / own[:, None]).T @ count
    block_mean = total.sum(axis=1) / own
    right = (total - count * block_mean[:, None]).sum(axis=0)
    inverse = np.linalg.pinv(normal, hermitian=True)
    raw = inverse @ right
    centre = np.where(seen, 1.0, 0.0) / seen.sum()
    to_effect = np.eye(levels) - centre
    effect = to_effect @ raw
    level_part = (count * raw).sum(axis=1) / own
    by_player = np.bincount(cluster, block_mean - level_part, players) / np.bincount(cluster, minlength=players)
    grand = float(by_player.mean()) + float(centre @ raw)

    mean = np.where(seen, grand + effect, np.nan)
    effect = np.where(seen, effect, np.nan)
    if players < 2 or seen.sum() < 2:
        return LevelEffects(mean, effect, nothing, nothing, nothing, notes, seen_by, compared, nobody)
    # A player's score for each level; the blocks' own means are swept out already.
    score = _by_cluster(total - count * (block_mean - level_part)[:, None] - count * raw, cluster, players)
    influence = score @ inverse @ to_effect.T
    enough = seen & (compared > 1)
    freedom = np.maximum(compared - 1, 1)
    error = np.sqrt((influence**2).sum(axis=0) * compared / freedom)
    margin = np.where(enough, special.stdtrit(freedom, 0.5 + confidence / 2) * error, np.nan)
    # Players who agree to the last digit leave no doubt, if there is anything to doubt.
    told = np.where(np.abs(effect) > 1e-9, 0.0, 1.0)
    with np.errstate(invalid="ignore", divide="ignore"):
        p = np.where(error > 0, 2 * special.stdtr(freedom, -np.abs(effect) / error), told)
    p = np.where(enough, p, np.nan)
    return LevelEffects(mean, effect, effect - margin, effect + margin, holm(p), notes, seen_by, compared, influence)


def linked_levels(level: Array, block: Array, levels: int) -> Array:
    """(levels,) which of the levels can be compared within blocks: those that blocks link with one another, directly or
    over others; of several such groups the one with the most rows. level, block: (n,) numbers from 0."""
    cell = np.unique(np.stack([np.asarray(block), np.asarray(level)]), axis=1)
    number = np.unique(cell[0], return_inverse=True)[1].reshape(-1)
    nodes = levels + int(number.max(initial=-1)) + 1
    links = sparse.coo_array((np.ones(number.size), (cell[1], levels + number)), shape=(nodes, nodes))
    group = sparse.csgraph.connected_components(links, directed=False)[1][:levels]
    rows = np.bincount(group, weights=np.bincount(level, minlength=levels))
    return group == int(np.argmax(rows))


def _by_cluster(rows: Array, cluster: Array, players: int) -> Array:
    """Rows of blocks summed by player."""
    out = np.zeros((players, rows.shape[1]))
    np.add.at(out, cluster, rows)
    return out


def holm(p: Array) -> Array:
    """p values corrected for their number (Holm 1979, Scand. J. Stat. 6:65-70); NaN stays NaN and is not counted."""
    out = np.full(len(p), np.nan)
    known = np.flatnonzero(~np.isnan(p))
    order = known[np.argsort(p[known], kind="stable")]
    factors = np.arange(len(order), 0, -1)
    out[order] = np.minimum(1.0, np.maximum.accumulate(p[order] * factors))
    return out


def mean_of_players(values: Array, level: float = LEVEL) -> Estimate:
    """Mean and Student's interval of one number a player; values: (players,), NaN where a player has none."""
    values = np.asarray(values, float)
    values = values[~np.isnan(values)]
    if not len(values):
        return Estimate(None, level=level)
    error = values.std(ddof=1) / np.sqrt(len(values)) if len(values) > 1 else 0.0
    margin = margin_by_player(error, len(values), level)
    return Estimate.around(float(values.mean()), margin, level=level, players=len(values))

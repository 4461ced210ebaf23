"""Which of some positions on a circle are the fewest from which everything can be reached. Exact.

Each target (a valve) has a margin at each position, and the positions where that margin is at least any given
level lie side by side on the circle (a valve is closed over one arc, and the margin falls towards both of its
ends). So this is the stabbing of circular arcs, which needs no search tree: with a first position fixed, the
circle is cut open there and the arcs that are still to be reached are intervals on a line; taking them by their
far end, and the last position before that end, gives the fewest (textbook greedy; an exchange argument proves
it). The last position can't be nearer than the largest near end, and pulling it back to there loses no interval,
so the least way to go from each first position is known too.
"""

from __future__ import annotations

from collections.abc import Sequence

Run = tuple[int, int]
"""An arc of positions: index of its first one, and how many."""


def fewest_positions(
    places: Sequence[int], cycle: int, margins: Sequence[Sequence[int]], need: int, ranks: Sequence[int]
) -> tuple[int, ...]:
    """Indices of the chosen positions, in visiting order (rising places, around the circle).

    ``places`` rise within [0, ``cycle``). ``margins[v][i]`` is the margin of target v at position i; each target
    has at least ``need`` somewhere. All in one integer unit, so that equal is equal. Chosen are the fewest
    positions that give every target at least ``need``; of these the ones with the greatest least margin (each
    target at its best position), then the shortest way from first to last, then the lowest ``ranks`` value at
    the first. No targets: no positions.
    """
    if not margins:
        return ()
    count = len(places)
    within_reach = min(max(row) for row in margins)
    levels = sorted({m for row in margins for m in row if need <= m <= within_reach})
    fewest = _how_many(margins, levels[0], count)
    low, high = 0, len(levels) - 1
    while low < high:
        middle = (low + high + 1) // 2
        if _how_many(margins, levels[middle], count) == fewest:
            low = middle
        else:
            high = middle - 1
    runs = _runs(margins, levels[low], count)
    best: tuple[int, int] | None = None
    chosen: tuple[int, ...] = ()
    for first in range(count):
        picks = _picks_from(first, runs, count)
        if len(picks) == fewest:
            key = ((places[picks[-1]] - places[first]) % cycle, ranks[first])
            if best is None or key < best:
                best, chosen = key, picks
    return chosen


def _how_many(margins: Sequence[Sequence[int]], level: int, count: int) -> int:
    """The fewest positions at this level. One of them lies in the shortest arc: only those need be first."""
    runs = _runs(margins, level, count)
    if not runs:
        return 1
    start, length = min(runs, key=lambda run: run[1])
    return min(len(_picks_from(i % count, runs, count)) for i in range(start, start + length))


def _runs(margins: Sequence[Sequence[int]], level: int, count: int) -> list[Run]:
    """The arc of each target at this level; targets that are reached from everywhere are left out."""
    runs: set[Run] = set()
    for row in margins:
        inside = [m >= level for m in row]
        length = sum(inside)
        if length < count:
            start = next(i for i in range(count) if inside[i] and not inside[i - 1])
            runs.add((start, length))
    return sorted(runs)


def _picks_from(first: int, runs: Sequence[Run], count: int) -> tuple[int, ...]:
    """The fewest positions that reach every arc, ``first`` being one; ending as early as that allows."""
    ahead = sorted(
        ((start - first) % count + length - 1, (start - first) % count)
        for start, length in runs
        if (first - start) % count >= length
    )
    picks = [first]
    reached = 0
    last = max((near for _, near in ahead), default=0)
    for far, near in ahead:
        if near > reached:
            reached = min(far, last)
            picks.append((first + reached) % count)
    return tuple(picks)

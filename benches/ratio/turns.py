"""Times of programs that take turns, and the ratio of their medians with its 95 % interval.

The interval is from a bootstrap: both series are drawn again, with repetition, two thousand times, always from the same seed.
It says how far the medians of these runs are known; it knows nothing of what else the machine did.
"""

import random
import statistics

DRAWS, SEED = 2000, 20_261_130


def in_turns(runs, *programs):
    """Runs each program `runs` times, in turns, and returns what each run gave, by program. One turn before is not counted:
    after it the files are in memory."""
    for program in programs:
        program()
    turns = [[program() for program in programs] for _ in range(runs)]
    return [list(given) for given in zip(*turns)]


def of(ours, theirs):
    """Ratio of the medians, and its lower and upper bound."""
    draw = random.Random(SEED)
    again = lambda times: statistics.median(draw.choices(times, k=len(times)))
    ratios = sorted(again(ours) / again(theirs) for _ in range(DRAWS))
    return statistics.median(ours) / statistics.median(theirs), ratios[DRAWS // 40], ratios[-1 - DRAWS // 40]


def words(ours, theirs):
    ratio, low, high = of(ours, theirs)
    return f"{ratio:.2f} (95 %: {low:.2f} to {high:.2f})"

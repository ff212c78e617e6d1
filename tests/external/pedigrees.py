"""Makes tables/kinship_plain.csv: the plain recursion over 10,000 random pedigrees.

    python3 pedigrees.py > tables/kinship_plain.csv      (numpy)

The draws are those of SplitMix64, so that the check draws the same pedigrees. Each line is about ten of them: the
sum of their tables of relationships, each cell weighed by where it stands, and the sum of their inbreeding.
"""

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2] / "server/audit/examples/kinship"))
from plain import table  # noqa: E402

MASK = (1 << 64) - 1


class Chance:
    def __init__(self, seed: int) -> None:
        self.state = seed

    def below(self, n: int) -> int:
        self.state = (self.state + 0x9E3779B97F4A7C15) & MASK
        mixed = self.state
        mixed = ((mixed ^ (mixed >> 30)) * 0xBF58476D1CE4E5B9) & MASK
        mixed = ((mixed ^ (mixed >> 27)) * 0x94D049BB133111EB) & MASK
        return ((mixed ^ (mixed >> 31)) * n) >> 64


def pedigree(seed: int) -> tuple:
    chance = Chance(seed)
    parents = []
    for animal in range(5 + chance.below(56)):
        first = animal < 3 or chance.below(10) == 0
        parents.append((0, 0) if first else (chance.below(animal + 1), chance.below(animal + 1)))
    return np.array(parents)[:, 0], np.array(parents)[:, 1]


if __name__ == "__main__":
    print(f"# numpy {np.__version__}, pedigrees.py beside this folder: table of relationships row by row (Emik & Terrill 1949), pedigrees of ten seeds each from the first on")
    print("first_seed,weighed,inbreeding")
    for first in range(0, 10_000, 10):
        weighed = inbreeding = 0.0
        for seed in range(first, first + 10):
            related = table(*pedigree(seed))
            places = np.arange(1, len(related) + 1)
            weights = 1 + (31 * places[:, None] + 17 * places[None, :]) % 97
            weighed += float((weights * related).sum())
            inbreeding += float(np.diag(related).sum() - len(related))
        print(f"{first},{weighed!r},{inbreeding!r}")

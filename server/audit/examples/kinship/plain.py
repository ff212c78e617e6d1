"""The plain recursion over the whole table of relationships, in numpy, to compare with.

    python3 plain.py < pedigree      (numpy)

Each line of the pedigree has the places of sire and dam of one animal, counted from 1, 0 where unknown;
parents stand before their offspring. Row by row: half of what its sire and half of what its dam has in
common with each animal before it; on the diagonal 1 and half of what its parents have in common (Emik &
Terrill 1949, J Hered 40:51). Prints the seconds of the processor, the sum of the inbreeding and the sum of the table.
"""

import sys
import time

import numpy as np


def table(sires: np.ndarray, dams: np.ndarray) -> np.ndarray:
    related = np.zeros((len(sires) + 1, len(sires) + 1))
    for animal in range(1, len(sires) + 1):
        sire, dam = sires[animal - 1], dams[animal - 1]
        row = 0.5 * (related[sire, :animal] + related[dam, :animal])
        related[animal, :animal] = row
        related[:animal, animal] = row
        related[animal, animal] = 1.0 + 0.5 * related[sire, dam]
    return related[1:, 1:]


if __name__ == "__main__":
    pedigree = np.loadtxt(sys.stdin, dtype=int, ndmin=2)
    began = time.process_time()
    times = 0
    while times == 0 or time.process_time() - began < 0.2:
        related = table(pedigree[:, 0], pedigree[:, 1])
        times += 1
    seconds = (time.process_time() - began) / times
    print(seconds, repr(float(np.diag(related).sum() - len(related))), repr(float(related.sum())))

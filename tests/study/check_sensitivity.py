# SPDX-License-Identifier: Apache-2.0
"""Indices against OpenTURNS and rank correlations against SciPy, on the same numbers."""
import subprocess
import sys
import tempfile

import numpy as np
import openturns as ot
from scipy import linalg, stats


def agree(what, found, expected, tolerance):
    worst = np.max(np.abs(np.asarray(found) - np.asarray(expected)))
    print(f"{what}: {worst:.2g} apart, allowed {tolerance:.0e}")
    assert worst <= tolerance, what


def main(program):
    with tempfile.TemporaryDirectory() as folder:
        text = subprocess.run([program, folder], check=True, capture_output=True, text=True).stdout
        found = {line.split()[0]: np.array(line.split()[1:], float) for line in text.splitlines()}
        read = lambda name: np.fromfile(f"{folder}/{name}")
        x, y = read("radial_points").reshape(-1, 5, 3), read("radial_outputs").reshape(-1, 5)
        sample, z = read("sample_points").reshape(-1, 3), read("sample_outputs")
    # OpenTURNS wants all A points, then all B points, then A with one column of B after another.
    n = len(x)
    points = ot.Sample(x.transpose(1, 0, 2).reshape(-1, 3))
    outputs = ot.Sample(y.T.reshape(-1, 1))
    martinez = ot.MartinezSensitivityAlgorithm(points, outputs, n)
    agree("Martinez, first order", found["martinez_first"], martinez.getFirstOrderIndices(), 1e-10)
    agree("Martinez, total", found["martinez_total"], martinez.getTotalOrderIndices(), 1e-10)
    jansen = ot.JansenSensitivityAlgorithm(points, outputs, n)
    first, total = (np.array(i) for i in (jansen.getFirstOrderIndices(),
                                          jansen.getTotalOrderIndices()))
    agree("Jansen, first order", found["jansen_first"], first, 1e-5)
    agree("Jansen, total", found["jansen_total"], total, 1e-5)
    # OpenTURNS divides by 2n - 1 and by the sample variance; Jansen's paper by 2n and the variance.
    factor = (2 * n - 1) / (2 * (n - 1))
    agree("Jansen, total, same divisors", found["jansen_total"], total * factor, 1e-10)
    agree("Jansen, first, same divisors", 1 - found["jansen_first"], (1 - first) * factor, 1e-10)

    agree("Spearman", found["spearman"],
          [stats.spearmanr(sample[:, j], z).statistic for j in range(3)], 1e-12)
    ranks = np.column_stack([stats.rankdata(sample[:, j]) for j in range(3)])
    rank_z = stats.rankdata(z)
    partial = []
    for j in range(3):
        others = np.column_stack([np.ones(len(z)), np.delete(ranks, j, axis=1)])
        rest = [v - others @ linalg.lstsq(others, v)[0] for v in (ranks[:, j], rank_z)]
        partial.append(np.corrcoef(*rest)[0, 1])
    agree("partial rank correlation", found["partial"], partial, 1e-10)


if __name__ == "__main__":
    main(sys.argv[1])

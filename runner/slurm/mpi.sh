#!/usr/bin/env bash
# SPDX-License-Identifier: Apache-2.0
# A study on several machines at once: rank 0 hands out blocks and writes, the others compute.
# When its time runs out, submit it again: what is finished is kept, and it goes on.
#
#   sbatch --nodes=4 --ntasks-per-node=32 mpi.sh my-study.yaml results/my-study
#
# A review or a sensitivity study: sbatch --export=ALL,SEROSA_COMMAND=review …
# `serosa` must have been built where Open MPI's development files are, and be on the PATH of the
# nodes; the folder must be on a disk that rank 0 reaches. mpirun knows the nodes of the job; srun
# starts the ranks together only where Slurm was built with an interface that Open MPI speaks.
#SBATCH --job-name=serosa
#SBATCH --time=02:00:00
set -euo pipefail
[ $# -eq 2 ] || { echo "usage: sbatch mpi.sh STUDY FOLDER" >&2; exit 2; }
exec mpirun serosa "${SEROSA_COMMAND:-sweep}" "$1" --out "$2"

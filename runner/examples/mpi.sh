#!/usr/bin/env bash
# SPDX-License-Identifier: Apache-2.0
#SBATCH --job-name=serosa
#SBATCH --ntasks=16
#SBATCH --cpus-per-task=1
#SBATCH --output=serosa-%j.log
# A study over several nodes. Submit with: sbatch mpi.sh STUDY.yaml RESULTS
# Killed at its time limit, it goes on when it is submitted again with the same folder.
set -euo pipefail
mpirun -n "$SLURM_NTASKS" serosa sweep "$1" --out "$2"

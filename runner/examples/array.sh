#!/usr/bin/env bash
# SPDX-License-Identifier: Apache-2.0
# A study as a job array. Submit with: bash array.sh STUDY.yaml RESULTS [PARTS]
# A part that was killed goes on when it is submitted again with the same folder.
set -euo pipefail
study=$1 results=$2 parts=${3:-40}

array=$(sbatch --parsable --job-name=serosa --array="1-$parts" --cpus-per-task=1 \
  --output="serosa-%A-%a.log" --wrap \
  "serosa sweep '$study' --out '$results' --part \$SLURM_ARRAY_TASK_ID/$parts --threads 1 --quiet")
sbatch --job-name=serosa-merge --dependency="afterok:$array" --output="serosa-%j.log" --wrap \
  "serosa merge '$study' --out '$results'"

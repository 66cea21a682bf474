#!/usr/bin/env bash
# SPDX-License-Identifier: Apache-2.0
# A study as a Slurm job array: every task computes one part, a last job joins them. No MPI needed.
# Parts that were lost or ran out of time are simply submitted again: they go on where they were.
#
#   bash array.sh my-study.yaml results/my-study 40 [SBATCH OPTIONS...]
#
# A review or a sensitivity study: SEROSA_COMMAND=review (or sensitivity) before `bash`.
# `serosa` must be on the PATH of the nodes, and the folder on a disk that all of them share.
set -euo pipefail
[ $# -ge 3 ] || { sed -n '3,9s/^# \{0,1\}//p' "$0" >&2; exit 2; }
study=$(realpath "$1") folder=$(realpath -m "$2") parts=$3
shift 3
mkdir -p "$folder-logs"

array=$(sbatch --parsable --job-name=serosa --array="1-$parts" --cpus-per-task=1 \
  --output="$folder-logs/part-%a.log" "$@" \
  --wrap "serosa ${SEROSA_COMMAND:-sweep} '$study' --out '$folder' --part \$SLURM_ARRAY_TASK_ID/$parts --threads \$SLURM_CPUS_PER_TASK")
merge=$(sbatch --parsable --job-name=serosa-merge --dependency="afterok:$array" \
  --kill-on-invalid-dep=yes --output="$folder-logs/merge.log" "$@" \
  --wrap "serosa merge '$study' --out '$folder'")
echo "Parts: job $array. Joined by job $merge. Logs: $folder-logs"

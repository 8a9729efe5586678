"""Outcome models, fitting, proposals, playtest planning: pure functions of arrays (numpy and scipy only).

Targets: `from analysis.tuning.target_file import read_targets` (TOML text -> `targets.TargetSet`; TARGETS.md).
"""

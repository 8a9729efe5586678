"""Outcome models, fitting, policies, proposals, playtest planning: pure functions of arrays (numpy and scipy only).

The targets: `from analysis.tuning.target_file import read_targets` (TOML text -> `targets.TargetSet`; TARGETS.md).
"""

"""The targets file, the search for settings, proposals, playtest planning: pure functions (numpy and scipy only).

How the parts are used (the join with the study is analysis/findings/tuning_answer.py):

    targets = target_file.read_targets(text)                  # TargetSet; raises BadTargets (TARGETS.md)
    answer = tuning_answer.propose_game(reader, Selection(game), targets)   # TuningAnswer: ranked Proposals
    fitted, why_not = tuning_answer.fit_game(reader, Selection(game), targets)  # list[Fitted]; about 0.1 s each
    model = fitted[0].model                                   # StagedModel, TrialModel
    whatif.predict(model, {"fire_period": 700}, targets.targets, players=12)   # tuple[Prediction]: a slider moved
    whatif.outcome_map(model, target, "start_lives", "fire_period")         # OutcomeMap: figure over two levers
    whatif.slider_values(tunable)                             # what a slider may be set to
    whatif.sensitivity(model, setting, targets.targets)       # the same under other assumptions (not RhythmModel)
    playtest_plan.precision_of(...)                           # what more players would leave of the doubt

`model.tunables` are the present build's Tunables (name, role, value, low, high, step, unit), `model.roles` those whose
effect the model knows, `model.knows(target)` whether it can answer.
"""

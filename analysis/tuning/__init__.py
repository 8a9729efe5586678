"""The targets file, the search for settings, proposals, playtest planning: pure functions (numpy and scipy only).

How the parts are used (the join with the study is analysis/tuning_answers/tuning_answer.py):

    targets = target_file.read_targets(text)                             # TargetSet; raises BadTargets (TARGETS.md)
    answer = tuning_answer.propose_game(reader, Selection(game), targets)  # TuningAnswer: ranked Proposals
    model = answer.fitted[0]                                             # models.fitted.Fitted, kept with the answer
    whatif.predict(model, {"fire": 700}, targets.targets)  # tuple[Prediction]: a slider moved
    whatif.outcome_map(model, target, "lives", "fire")                   # OutcomeMap: a figure over two tunables
    whatif.slider_values(tunable)                                        # what a slider may be set to
    whatif.sensitivity(model, setting, targets.targets)                  # the same under other assumptions
    playtest_plan.precision_of(...)                                      # what more players would leave of the doubt
"""

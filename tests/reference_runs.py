"""Runs and stages by section 7 of FORMAT.md, event by event, for logs in which nothing is missing.

Written from the document alone; it shares no code with the product but the dictionary. Times in ticks.
"""

from dataclasses import dataclass, field

from tests.reference import Event, Log

BUILT_FROM = ("run_start", "run_end", "stage_start", "stage_end", "spawn", "death", "pause", "resume")


@dataclass
class Stage:
    number: int
    boss: int
    start: int
    end: int = 0
    cleared: bool | None = None
    deaths: int = 0


@dataclass
class Run:
    start: int
    end: int = 0
    ending: str = "cut"
    deaths: int = 0
    stages: list[Stage] = field(default_factory=list)

    def now(self, at: int) -> int:
        """Events that a run is built from never go back in time."""
        self.end = max(self.end, at)
        return self.end


def runs_of(log: Log) -> list[Run]:
    """The runs of a game that logs spawns, lives, and the starts and ends of its stages."""
    found: list[Run] = []
    for number in range(len(log.power_ups)):
        _power_up(log, number, found)
    return found


def _power_up(log: Log, number: int, found: list[Run]) -> None:
    run: Run | None = None
    stage: Stage | None = None
    state: dict[str, int] = {}
    alive = True
    logged = 0
    dictionary = log.power_ups[number].dictionary
    for event in (one for one in log.events if one.power_up == number):
        assert dictionary is not None
        kind = next(one for one in dictionary["kinds"] if one["name"] == event.kind)
        role = kind["role"]
        fields = {f["role"]: event.fields[f["name"]] for f in kind["fields"] if f["role"]}
        said = {one: value for one, value in fields.items() if value is not None}
        at = _time(event, said)
        if role == "run_start":
            if run is not None:
                _close(run, stage, run.now(logged), None)
            run, stage, alive = Run(at, at), None, True
            state = {one: said[one] for one in ("lives", "tier", "level") if one in said}
            found.append(run)
        elif run is not None and role == "run_end":
            run.now(at)
            how = said.get("ending", 9)
            over = not alive or state.get("lives") == 0
            run.ending = ("finished", "game_over", "quit")[how] if how < 3 else ("game_over" if over else "finished")
            _close(run, stage, run.end, {"finished": True, "game_over": False}.get(run.ending))
            run = stage = None
        elif run is not None:
            told = {one: said[one] for one in ("lives", "tier", "level") if one in said and said[one] != state.get(one)}
            if role in BUILT_FROM or told:
                now = run.now(at)
                if role in ("stage_start", "stage_end"):
                    _close(run, stage, now, bool(said.get("cleared", 1)) if role == "stage_end" else None)
                    stage = None
                if role == "stage_start":
                    stage = Stage(said.get("stage", len(run.stages) + 1), said.get("stage_kind", 0), now)
                    run.stages.append(stage)
                if role == "death":
                    run.deaths += 1
                    if stage is not None:
                        stage.deaths += 1
                alive = role != "death" and (alive or role == "spawn")
                state |= told
        logged = event.tick
    if run is not None:
        _close(run, stage, run.now(logged), None)


def _close(run: Run, stage: Stage | None, at: int, cleared: bool | None) -> None:
    if stage is not None:
        stage.end, stage.cleared = at, cleared


def _time(event: Event, said: dict[str, int]) -> int:
    return event.tick - said.get("ago", 0) + said.get("ahead", 0)

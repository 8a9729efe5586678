"""What the worlds of all demo games share."""

from demo_logs.simulator.dice import Dice
from demo_logs.simulator.people import Memory, person
from demo_logs.simulator.play import Attempt, Console


def test_the_slide_pot_reads_where_it_stands_give_or_take_its_noise_and_never_beyond_its_ends():
    quiet, loud = Console(1, pot_noise=0.0), Console(2, pot_noise=20.0)
    assert [quiet.pot(raw, Dice("x")) for raw in (-5.0, 0.0, 1234.9, 4095.0, 9999.0)] == [0, 0, 1234, 4095, 4095]
    dice = Dice("noise")
    read = [loud.pot(2000.0, dice) for _ in range(400)]
    spread = (sum((value - 2000) ** 2 for value in read) / 400) ** 0.5
    assert 17 < spread < 23 and len({loud.pot(4095.0, dice) for _ in range(50)} - set(range(4096))) == 0


def test_a_run_begins_with_who_plays_and_what_the_game_says_of_itself():
    who = person(7, team=True)
    attempt = Attempt({}, who, Memory(), Console(1), Dice("x"), 500)
    attempt.begin(True, 42, lives=3)
    values = {"player": 7, "team": 1, "first_time": 1, "seed": 42, "lives": 3}
    assert attempt.play.events == [(500, "run_begin", values)]

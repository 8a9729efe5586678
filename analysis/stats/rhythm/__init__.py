"""Notes and presses: which press was meant for which note, the errors of the hands, windows and the console's share."""

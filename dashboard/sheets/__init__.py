"""Sheets to print for a lesson: for the table, for the teacher, and the games of a class side by side."""

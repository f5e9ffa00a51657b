"""Results recorded from outside the code under test, each beside the script that made it."""
